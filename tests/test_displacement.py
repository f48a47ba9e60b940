"""Displacement: worked out once, a check where all is given, and enough where nothing else is."""

import numpy as np
import pytest
from valid_sheet import sheet_text

import pullbook
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.curation.curate import curate
from pullbook.pipeline.features import engineered_features
from pullbook.pipeline.privacy.contribute import contribute

SIX = {"cylinders": 6, "compression_ratio": 9.4}


def findings(**fields):
    build = build_files.of_fields({**SIX, **fields})
    return build, {f.code for f in build.findings}


@pytest.mark.parametrize(
    ("given", "third", "expected"),
    [
        ({"bore": 4.0, "stroke": 3.48}, "displacement", 262.4),
        ({"bore": 4.0, "displacement": "4.3 l"}, "stroke", 3.48),
        ({"stroke": 3.48, "displacement": "4300 cc"}, "bore", 4.0),
        ({"stroke": 3.48, "displacement": "262 ci"}, "bore", 4.0),
    ],
)
def test_any_two_of_three_give_the_third(given, third, expected):
    build, codes = findings(**given)
    assert build.accepted
    assert not codes
    assert build.values[third] == pytest.approx(expected, rel=2e-3)
    assert set(build.given) == {*SIX, *given, "sheet_id"}


def test_all_three_are_a_check():
    size = {"bore": 4.0, "stroke": 3.48}
    assert findings(**size, displacement=262)[1] == set()
    assert findings(**size, displacement=268)[1] == {"displacement-disagrees-unusual"}
    build, codes = findings(**size, displacement=350)
    assert codes == {"displacement-disagrees"}
    assert not build.accepted


@pytest.mark.parametrize("size", [4.3, 4300, 1600])
def test_a_bare_number_that_may_be_litres_or_cc_is_refused(size):
    build, codes = findings(displacement=size)
    assert codes == {"cylinder-size"}
    assert "Write its unit" in build.findings[0].message


def test_a_size_that_cannot_be_is_said_of_the_displacement():
    build, codes = findings(bore=4.0, displacement=4.3)
    assert codes == {"displacement-disagrees"}
    assert "would take a stroke of" in build.findings[0].message


def test_without_any_size_both_ways_to_give_it_are_named():
    (fault,) = findings()[0].findings
    assert fault.code == "missing"
    assert "bore and stroke" in fault.message
    assert "displacement" in fault.message


def test_a_changed_part_moves_the_displacement_and_not_the_other_way():
    build, _ = findings(bore=4.0, stroke=3.48)
    longer = build_files.changed(build, "longer", {"stroke": 3.75})
    assert longer.displacement == pytest.approx(262.4 * 3.75 / 3.48, rel=1e-3)
    assert not build_files.changed(build, "larger", {"displacement": 300.0}).accepted
    alone, _ = findings(displacement=262.4)
    assert build_files.changed(alone, "larger", {"displacement": 300.0}).displacement == 300.0


def test_a_sheet_with_displacement_alone_goes_the_whole_way(tmp_path):
    fields = {"bore": "", "stroke": "", "displacement": "4.0 l", "rod_length": "6 in"}
    (tmp_path / "a.csv").write_text(sheet_text(fields))
    (checked,) = checked_sheets.read([tmp_path], check_sheet.SHEET_RULES).sheets
    assert checked.accepted, checked.findings
    contribute([tmp_path / "a.csv"], tmp_path / "out", b"key")
    (row,) = curate([tmp_path / "out"]).builds.to_dict("records")
    assert row["displacement"] == pytest.approx(244.1, rel=1e-3)
    assert np.isnan(row["bore"])
    assert np.isnan(row["stroke"])


def test_bore_and_stroke_are_filled_so_that_they_make_the_displacement(demo):
    builds = demo.builds.copy()
    some = np.arange(len(builds)) % 3 == 0
    true = builds[["bore", "stroke"]].copy()
    builds.loc[some, ["bore", "stroke"]] = np.nan
    raw = engineered_features.numbers(builds)
    filled = demo.model.filling.fill(raw)
    made = np.pi / 4 * filled["bore"] ** 2 * filled["stroke"] * raw["cylinders"]
    assert made == pytest.approx(raw["displacement"], rel=1e-6)
    off = np.log(filled["bore"] / true["bore"])[some]
    cube = np.log(np.cbrt(raw["displacement"] / raw["cylinders"])[some])
    guess = np.log(true["bore"])[some] - cube
    assert off.std() < 0.9 * guess.std()  # better than one ratio for all
    assert off.abs().mean() < 0.05


def test_displacement_alone_is_answered_near_what_bore_and_stroke_give(demo):
    predictor = pullbook.load(demo.bundle)
    whole = {"cylinders": 8, "bore": 4.0, "stroke": 3.48, "intake_duration": 220,
             "intake_type": "dual plane", "compression_ratio": 9.5}  # fmt: skip
    alone = {name: value for name, value in whole.items() if name not in ("bore", "stroke")}
    alone |= {"displacement": 349.8}
    (one,), (other,) = predictor.predict(whole), predictor.predict(alone)
    for here, there in zip(one.curve, other.curve, strict=True):
        assert there.torque.value == pytest.approx(here.torque.value, rel=0.04)
    assert {"bore", "stroke"} <= {m.field for m in other.missing}
    assert not {"bore", "stroke", "displacement"} & {m.field for m in one.missing}
