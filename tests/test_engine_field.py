"""The field engine: read, coded, curated, and never split between learning and checking."""

import json

import numpy as np
import pandas as pd
import pytest
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.model.evaluation import evaluate_regimes
from pullbook.model.learning.settings import Settings
from pullbook.model.training import hold_out
from pullbook.pipeline.builds import json_schema
from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.curation import curate, data_set
from pullbook.pipeline.privacy import anonymise
from pullbook.pipeline.privacy.contribute import contribute

KEY = b"a key for the tests alone"
ENGINE = "Lugworm, port side"


@pytest.fixture
def contributed(tmp_path, write_sheet):
    """Two sheets of one engine, one of another shop's engine of that name, and a rejected one."""
    other = [PULL[0][:2], *((rpm, f"{float(torque) * 0.99:.1f}") for rpm, torque, _ in PULL[1:])]
    write_sheet({"engine": ENGINE}, name="in/a.csv")
    write_sheet(
        {"engine": "LUGWORM,  port side", "sheet_id": "tern-0418", "intake_duration": "232"},
        other,
        name="in/b.csv",
    )
    write_sheet(
        {"engine": ENGINE, "shop": "Withy Lock Rebuilds", "sheet_id": "withy-1"}, name="in/c.csv"
    )
    write_sheet({"engine": ENGINE, "sheet_id": "tern-0419", "stroke": ""}, name="in/d.csv")
    contribute([tmp_path / "in"], tmp_path / "shared", KEY)
    return tmp_path / "shared"


def test_an_engines_name_leaves_as_a_code_that_no_other_shop_shares(contributed):
    everything = "\n".join(
        p.read_text() for p in contributed.rglob("*") if p.suffix in (".csv", ".json")
    )
    assert "lugworm" not in everything.casefold()
    builds = curate.curate([contributed]).builds.set_index("sheet_id")["engine"]
    assert builds["tern-0417"] == builds["tern-0418"]
    assert builds["tern-0417"] != builds["withy-1"]
    assert builds["tern-0417"] == anonymise.engine_code(KEY, FIELDS["shop"], ENGINE)
    refused = "\n".join(p.read_text() for p in (contributed / "refused").glob("*.csv"))
    assert builds["tern-0417"] in refused


def test_a_code_of_an_engine_tells_nothing_without_the_key():
    assert anonymise.engine_code(KEY, "a", "b") != anonymise.engine_code(KEY + b"!", "a", "b")
    assert anonymise.engine_code(KEY, "a", "b c") != anonymise.engine_code(KEY, "a b", "c")


def test_the_schema_of_a_build_knows_the_field():
    assert "engine" in json.dumps(json_schema.schema())


def table(rows):
    columns = ["shop", "engine", "family", "cylinders", "bore", "displacement"]
    whole = [(*row, *[None] * (len(columns) - len(row))) for row in rows]
    return pd.DataFrame(whole, columns=columns).astype(
        {"engine": "str", "family": "str", "bore": float, "displacement": float}
    )


def test_sheets_of_one_engine_share_its_number_and_others_do_not():
    found = engines_of(
        table(
            [
                ("a", "e1", "petrel", 6, 3.9),
                ("a", "e1", "petrel", 6, 3.93),  # rebuilt
                ("a", "e2", "petrel", 6, 3.9),
                ("b", "e1", "petrel", 6, 3.9),
                ("a", None, "petrel", 6, 3.9),
                ("a", None, "petrel", 6, 3.9),
                ("a", None, None, 6, 3.9),
                ("a", None, None, 6, 3.9),
                ("b", None, "petrel", 6, 3.9),
                ("a", None, "petrel", 6, 4.0),
                ("a", None, "petrel", 6, None, 250.0),
                ("a", None, "petrel", 6, None, 262.0),
                ("a", None, "petrel", 6, None, 250.0),
            ]
        )
    )
    assert found.tolist() == [0, 0, 1, 2, 3, 3, 4, 4, 5, 6, 7, 8, 7]


def test_a_data_set_from_before_the_field_existed_is_read(contributed, tmp_path):
    whole = curate.curate([contributed])
    whole.write(tmp_path / "curated")
    old = pd.read_parquet(tmp_path / "curated" / data_set.BUILDS).drop(columns="engine")
    old.to_parquet(tmp_path / "curated" / data_set.BUILDS)
    builds, _ = data_set.load(tmp_path / "curated")
    assert builds["engine"].isna().all()
    assert str(builds["engine"].dtype) == str(whole.builds["engine"].dtype)


def test_known_shops_are_judged_on_engines_that_the_model_has_no_sheet_of(demo, monkeypatch):
    """Both where limits are calibrated and where they are checked."""
    engine = pd.Series(engines_of(demo.builds), index=demo.builds["sheet_id"])
    fold = hold_out.folds(engine.to_numpy(), 5)
    assert all(len(set(fold[engine == one])) == 1 for one in np.unique(engine))
    learned = []

    def remember(builds, *_rest, **_more):
        learned.append(set(builds["sheet_id"]))
        raise StopIteration

    monkeypatch.setattr(evaluate_regimes, "train", remember)
    with pytest.raises(StopIteration):
        evaluate_regimes.held_out(demo.builds, demo.pulls, Settings(), 3)
    (inner,) = learned
    left = set(engine.index) - inner
    shops_and_families = demo.builds.set_index("sheet_id")[["shop", "family"]]
    known = shops_and_families.loc[sorted(left)].isin(
        {c: set(shops_and_families.loc[sorted(inner), c]) for c in ("shop", "family")}
    )
    known = known[known.all(axis=1)].index
    assert len(known) > 20
    assert set(engine[known]).isdisjoint(set(engine[sorted(inner)]))


def test_one_engine_with_another_bore_was_rebuilt_and_with_other_cylinders_is_a_mistake(tmp_path):
    changes = ({"bore": "3.9 in"}, {"bore": "3.93 in"}, {"cylinders": "4"}, {"engine": "other"})
    for number, change in enumerate(changes):
        fields = {"sheet_id": f"s{number}", "engine": "Lugworm, port", **change}
        (tmp_path / f"{number}.csv").write_text(sheet_text(fields))
    sheets = checked_sheets.read([tmp_path], check_sheet.SHEET_RULES).sheets
    codes = [{f.code for f in sheet.findings if f.code.startswith("engine-")} for sheet in sheets]
    assert codes == [set(), {"engine-rebuilt"}, {"engine-differs"}, set()]
