"""The API at the top of the package: small, light to import, and the same answers."""

import subprocess
import sys
from pathlib import Path

import pytest

import pullbook

QUESTION = Path(__file__).parents[1] / "data" / "examples" / "question.yaml"
FIELDS = {"cylinders": 8, "bore": "102 mm", "stroke": 3.48, "intake_duration": 214}


@pytest.mark.parametrize("name", pullbook.__all__)
def test_every_name_is_there_and_explains_itself(name):
    assert len(getattr(pullbook, name).__doc__) > 30


def test_another_name_is_refused():
    with pytest.raises(AttributeError, match="nothing_like_it"):
        _ = pullbook.nothing_like_it


def test_importing_loads_nothing_heavy():
    code = (
        "import sys, pullbook\n"
        "print([m for m in ('pandas', 'numpy', 'lightgbm', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_file_its_builds_and_its_fields_are_answered_alike():
    predictor = pullbook.load()
    (from_file,) = predictor.predict(QUESTION)
    (build,) = pullbook.read_builds(QUESTION)
    (from_build,) = predictor.predict(build)
    (from_fields,) = predictor.predict(dict(build.values))
    assert from_file.as_json() == from_build.as_json() == from_fields.as_json()
    assert pullbook.predict(QUESTION)[0].as_json() == from_file.as_json()


def test_a_build_carries_its_displacement():
    (build,) = pullbook.read_builds(FIELDS)
    assert build.displacement == pytest.approx(352.6, abs=0.1)  # 0.7854 x 4.0157^2 x 3.48 x 8


def test_comparing_is_one_build_minus_the_other():
    larger = {**FIELDS, "stroke": 3.75}
    found = pullbook.compare(larger, FIELDS)
    (one,) = found.differences
    assert one.mean.value == pytest.approx(one.mean_a - one.mean_b)
    assert one.mean.value > 0


def test_a_bad_build_is_an_input_error():
    with pytest.raises(pullbook.InputError, match="stroke"):
        pullbook.predict({"cylinders": 8, "bore": 4.0})


def test_a_list_of_plain_mappings_is_a_list_of_builds():
    long = {**FIELDS, "sheet_id": "long", "stroke": 3.75}
    both = pullbook.load().predict([FIELDS, long])
    assert [one.sheet_id for one in both] == ["build 1", "long"]
    assert both[1].peak_torque.height.value > both[0].peak_torque.height.value
    found = pullbook.predict(FIELDS)[0].peak_torque.height.value
    assert both[0].peak_torque.height.value == pytest.approx(found)


@pytest.mark.parametrize(
    ("asked", "said"),
    [([FIELDS, 3], "3 is no build; give"), (3, "3 is no build"), ([], "no build is given"),
     ([FIELDS, {"cylinders": 8, "bore": 4.0}], "build 2: .*stroke")],
)  # fmt: skip
def test_what_is_no_build_is_an_input_error(asked, said):
    with pytest.raises(pullbook.InputError, match=said):
        pullbook.load().predict(asked)


def test_sheets_are_read_with_their_findings(write_sheet):
    good = write_sheet(name="good.csv")
    bad = write_sheet({"sheet_id": "bad", "bore": "99 in"}, name="bad.csv")
    sheets = pullbook.read_sheets(good, bad)
    assert [sheet.accepted for sheet in sheets] == [True, False]
    assert sheets[1].fault.field == "bore"
