"""Many runs at once lose nothing of one another."""

import datetime as dt
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import crafted_bundle
import pytest
from valid_sheet import sheet_text

from pullbook.model.bundles import bundle_folder
from pullbook.model.review import promotions
from pullbook.model.review.promotion_record import RECORD, history
from pullbook.pipeline.curation import curate, data_set
from pullbook.pipeline.privacy import signatures, withdraw
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.storage import locks

SMALL = Path(__file__).parents[1] / "bundles" / "format-6"
KEY = b"the key of the shop, long enough it is"


@pytest.mark.parametrize(
    ("runs", "each"), [(2, 2), pytest.param(4, 5, marks=pytest.mark.slow)], ids=["few", "twenty"]
)
def test_withdrawals_at_once_all_count(tmp_path, runs, each):
    count = runs * each
    for number in range(count + 2):
        (tmp_path / f"{number}.csv").write_text(sheet_text({"sheet_id": f"sheet-{number}"}))
    contribute([tmp_path], tmp_path / "out", KEY)
    curate.curate([tmp_path / "out"]).write(tmp_path / "curated")
    signer = signatures.signer(KEY, "Tern Quay Marine")
    running = []
    for number in range(count):
        request = tmp_path / f"{number}.json"
        request.write_text(withdraw.request(signer, [f"sheet-{number}"], 99).as_text())
    code = (
        "import sys; from pathlib import Path\n"
        "from pullbook.pipeline.curation import withdrawn_traces\n"
        "from pullbook.pipeline.privacy import withdraw\n"
        "for name in sys.argv[2:]:\n"
        "    withdrawn_traces.take_out(withdraw.read(Path(name)), Path(sys.argv[1]))\n"
    )
    for first in range(0, count, each):
        names = [str(tmp_path / f"{number}.json") for number in range(first, first + each)]
        running.append(
            subprocess.Popen([sys.executable, "-c", code, str(tmp_path / "curated"), *names])
        )
    assert [one.wait() for one in running] == [0] * runs
    left = {f"sheet-{count}", f"sheet-{count + 1}"}
    assert set(data_set.load(tmp_path / "curated")[0]["sheet_id"]) == left


def test_promotions_at_once_are_all_recorded(tmp_path, monkeypatch):
    from pullbook.model.training import bundle

    monkeypatch.setattr(bundle, "load", lambda *_: None)
    monkeypatch.setattr(bundle, "read", lambda folder, *_: bundle_folder.read(folder))
    for number in range(6):
        made = crafted_bundle.copy(SMALL, tmp_path / f"{number}")
        crafted_bundle.sign(made, made_with={"python": f"3.{number}"})
    with ThreadPoolExecutor(6) as pool:
        list(pool.map(
            lambda n: promotions.promote(
                tmp_path / f"{n}", tmp_path / "models", None, dt.date(2026, 1, 2), "a reason"
            ),
            range(6),
        ))  # fmt: skip
    record = history(tmp_path / "models")
    assert len(record) == 6
    assert [one.before for one in record[1:]] == [one.bundle for one in record[:-1]]


def test_reasons_with_line_ends_and_formulas_come_back_whole(tmp_path, monkeypatch):
    from pullbook.model.training import bundle

    monkeypatch.setattr(bundle, "load", lambda *_: None)
    monkeypatch.setattr(bundle, "read", lambda folder, *_: bundle_folder.read(folder))
    why = ["=cmd|' /C calc'!A0", "a\rb", "a\nb", "+1,2", "'=x", "\x1b]0;owned\x07"]
    for number, reason in enumerate(why):
        made = crafted_bundle.copy(SMALL, tmp_path / f"{number}")
        crafted_bundle.sign(made, made_with={"python": f"3.{number}"})
        promotions.promote(made, tmp_path / "models", None, dt.date(2026, 1, 2), reason)
    text = (tmp_path / "models" / RECORD).read_text()
    assert "\x1b" not in text and "\r" not in text
    assert not any(cell.startswith("=") for line in text.split("\n") for cell in line.split(","))
    shown = [one.why for one in history(tmp_path / "models")]
    assert shown[0] == why[0] and shown[1:] == [
        "a\\rb",
        "a\\nb",
        "+1,2",
        "'=x",
        "\\x1b]0;owned\\x07",
    ]


def test_a_planted_lock_is_said(tmp_path):
    (tmp_path / ".lock").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(locks.BusyError, match="remove it"), locks.inside(tmp_path):
        pass
    assert not (tmp_path / "elsewhere").exists()


def test_four_trainings_and_curations_into_one_folder_leave_one_whole(tmp_path, demo):
    """Four at once left files of several in one bundle."""
    from pullbook.model.training import bundle

    def save(number):
        model = replace(demo.model, shop_offsets=demo.model.shop_offsets + number / 1000)
        return bundle.save(model, tmp_path / "bundle")

    def write(number):
        keep = demo.builds.head(10 + number)
        pulls = demo.pulls[demo.pulls["sheet_id"].isin(set(keep["sheet_id"]))]
        data_set.write(tmp_path / "set", {data_set.BUILDS: keep, data_set.PULLS: pulls})
        return len(keep)

    with ThreadPoolExecutor(4) as pool:
        saved, written = list(pool.map(save, range(4))), list(pool.map(write, range(4)))
    assert bundle_folder.read(tmp_path / "bundle").manifest["id"] in saved
    builds, pulls = data_set.load(tmp_path / "set")
    assert len(builds) in written
    assert set(builds["sheet_id"]) == set(pulls["sheet_id"])
    assert len(set(saved)) == 4
