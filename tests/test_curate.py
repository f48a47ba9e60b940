"""Curating: one data set at one reference condition."""

import pandas as pd
import pytest
from valid_sheet import PULL

from pullbook.pipeline.curation.curate import curate
from pullbook.pipeline.curation.data_set import NotCuratedError, load
from pullbook.pipeline.physics import correction_factors
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.physics.humid_air import KPA_PER_INHG
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.privacy.key_file import Counts
from pullbook.schemas.fields import CURATED_FIELDS

KEY = b"a key for the tests alone"


@pytest.fixture
def shared(tmp_path, write_sheet):
    """Return a function that contributes sheets and returns the folder."""
    counts = Counts()

    def share(*changes, name="shared"):
        for i, change in enumerate(changes):
            write_sheet({"sheet_id": f"s{i}", **change}, name=f"{name}-in/{i}.csv")
        contribute([tmp_path / f"{name}-in"], tmp_path / name, KEY, counts=counts)
        return tmp_path / name

    return share


def test_torque_stands_at_the_reference_condition(shared):
    found = curate([shared({})])
    weather = correction_factors.Weather(24.0, 29.72 * KPA_PER_INHG, 48.0)
    expected = 345.2 / 1.3558179483 * correction_factors.sae_j1349(weather)
    first = found.pulls.iloc[0]
    assert first["torque"] == pytest.approx(expected, abs=0.1)  # rounded to 0.2 lb-ft
    assert first["power"] == pytest.approx(first["torque"] * first["rpm"] / TORQUE_POWER_CONSTANT)
    assert found.builds["route"].tolist() == ["weather"]


def test_a_sheet_says_from_which_standard_it_came_and_how(shared):
    weatherless = {"air_temperature": "", "barometer": "", "relative_humidity": ""}
    found = curate([shared(
        {}, {"correction": "SAE J607"}, {"correction": "SAE J607", **weatherless},
        {"correction": "SAE J1349", **weatherless}, {"air_temperature": "49 degC"},
    )]).builds.set_index("sheet_id")  # fmt: skip
    assert found["correction"].unique().tolist() == ["SAE J1349"]
    assert found["stated_correction"].tolist() == [
        "observed", "SAE J607", "SAE J607", "SAE J1349", "observed"
    ]  # fmt: skip
    assert found["correction_route"].tolist() == ["exact", "exact", "nominal", "exact", "exact"]
    assert found["route"].tolist() == ["weather", "weather", "nominal", "stated", "weather"]
    assert (found["factor_sd"] > 0).tolist() == [False, False, True, False, False]


def test_two_standards_of_one_engine_and_day_agree(tmp_path, write_sheet):
    weather = correction_factors.Weather(24.0, 29.72 * KPA_PER_INHG, 48.0)
    by = {
        s: correction_factors.factor(s, weather)
        for s in ("observed", *correction_factors.STANDARDS)
    }
    sheets = []
    for standard, factor in by.items():
        torques = [float(t) * factor / by["observed"] for _, t, _ in PULL[1:]]
        rows = [(r, f"{t!r}") for (r, _, _), t in zip(PULL[1:], torques, strict=True)]
        sheets.append(({"sheet_id": standard.replace(" ", "-"), "correction": standard}, rows))
    for fields, rows in sheets:
        write_sheet(fields, [("rpm", "torque (N.m)"), *rows], name=f"in/{fields['sheet_id']}.csv")
    contribute([tmp_path / "in"], tmp_path / "out", KEY)
    pulls = curate([tmp_path / "out"]).pulls.pivot_table(
        index="rpm", columns="sheet_id", values="torque"
    )
    spread = pulls.max(axis=1) - pulls.min(axis=1)
    assert pulls.shape == (6, 5)
    assert spread.max() < 0.21  # one step of rounding


def test_a_chassis_reading_is_brought_to_the_flywheel_and_marked(shared):
    found = curate([shared({}, {"dyno": "chassis"})])
    flywheel, chassis = (g["torque"].to_numpy() for _, g in found.pulls.groupby("sheet_id"))
    assert chassis == pytest.approx(flywheel / correction_factors.CHASSIS_EFFICIENCY, abs=0.23)
    assert found.builds["factor_sd"].tolist() == [0.0, correction_factors.CHASSIS_SD]


def test_what_is_written_reads_back_and_keeps_its_schema(tmp_path, shared):
    found = curate([shared({}, {"muffled": "no"})])
    found.write(tmp_path / "curated")
    builds, pulls = load(tmp_path / "curated")
    pd.testing.assert_frame_equal(builds, found.builds)
    pd.testing.assert_frame_equal(pulls, found.pulls)
    assert set(CURATED_FIELDS) <= set(builds)
    assert "notes" not in builds


def test_a_table_that_breaks_the_schema_is_refused(tmp_path, shared):
    found = curate([shared({})])
    found.builds["bore"] = 99.0
    found.write(tmp_path / "curated")
    with pytest.raises(NotCuratedError, match="curate again"):
        load(tmp_path / "curated")


def test_a_folder_without_tables_is_no_data_set(tmp_path):
    with pytest.raises(NotCuratedError, match="pullbook curate"):
        load(tmp_path)


def test_the_later_of_two_sheets_with_one_name_counts(shared):
    old = shared({"sheet_id": "same"}, name="old")
    new = shared({"sheet_id": "same", "compression_ratio": "9.9"}, name="new")
    found = curate([old, new])
    assert found.builds["compression_ratio"].tolist() == [9.9]
    assert found.replaced == 1
    assert found.findings["code"].tolist() == ["same-sheet-again"]


def test_sheets_of_two_shops_with_one_name_stay_apart(shared):
    one = shared({"sheet_id": "same"}, name="one")
    two = shared({"sheet_id": "same", "shop": "Otter Staithe Marine"}, name="two")
    found = curate([one, two])
    assert found.builds["sheet_id"].str.startswith("same@").all()
    assert found.builds["sheet_id"].is_unique
    assert set(found.pulls["sheet_id"]) == set(found.builds["sheet_id"])


def test_a_name_in_clear_is_refused(tmp_path, write_sheet, shared):
    write_sheet(name="clear/accepted/a.csv")
    found = curate([tmp_path / "clear", shared({"sheet_id": "other"})])
    assert found.refused == 1
    assert "unsigned" in found.findings["code"].tolist()


def test_nothing_fit_is_an_error(tmp_path, write_sheet):
    write_sheet({"bore": "99 in"}, name="bad/a.csv")
    with pytest.raises(NotCuratedError):
        curate([tmp_path / "bad"])


def test_readings_are_in_rising_order(tmp_path, write_sheet):
    write_sheet(pull=[PULL[0], *PULL[:0:-1]], name="in/a.csv")
    contribute([tmp_path / "in"], tmp_path / "out", KEY)
    assert curate([tmp_path / "out"]).pulls["rpm"].is_monotonic_increasing
