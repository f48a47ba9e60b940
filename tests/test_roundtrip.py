"""Any curve in any unit, standard and weather comes back from a contribution as it was."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from valid_sheet import FIELDS

from pullbook.pipeline.curation.curate import curate
from pullbook.pipeline.physics import correction_factors
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.physics.correction_factors import STANDARDS, Weather
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.reading import find_sheets, parse_sheet

#: Units of a column and what one lb-ft or one hp is in them; definitions of the units.
TORQUE = {"lb-ft": 1.0, "N.m": 1.3558179483, "kg-m": 0.1382549544, "in-lb": 12.0}
POWER = {"hp": 1.0, "kW": 0.7456998716, "PS": 1.0138696654, "W": 745.69987158}

#: Also in the thinnest air below the mean pressure that an engine without boost can have.
curve = st.lists(st.floats(180, 400), min_size=6, max_size=24)
weather = st.builds(Weather, st.floats(16, 34), st.floats(92, 104), st.floats(5, 95))


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(curve, st.sampled_from(sorted(TORQUE)), st.sampled_from(sorted(POWER)),
       st.sampled_from(["torque", "power", "both"]), st.sampled_from(["observed", *STANDARDS]),
       weather)  # fmt: skip
def test_a_curve_comes_back(torques, torque_unit, power_unit, given_as, stated, at):
    rpm = [2000.0 + 150 * i for i in range(len(torques))]
    fields = {**FIELDS, "bore": "101.6 mm", "stroke": "3.9 in", "correction": stated,
              "air_temperature": f"{at.celsius} degC", "barometer": f"{at.pressure} kPa",
              "relative_humidity": f"{at.humidity}"}  # fmt: skip
    factor = correction_factors.factor(stated, at)
    heads, rows = ["rpm"], [[f"{r}"] for r in rpm]
    if given_as in ("torque", "both"):
        heads.append(f"torque ({torque_unit})")
        rows = [
            [*row, f"{t * factor * TORQUE[torque_unit]!r}"]
            for row, t in zip(rows, torques, strict=True)
        ]
    if given_as in ("power", "both"):
        heads.append(f"power ({power_unit})")
        rows = [
            [*row, f"{t * factor * r / TORQUE_POWER_CONSTANT * POWER[power_unit]!r}"]
            for row, t, r in zip(rows, torques, rpm, strict=True)
        ]
    text = "\n".join(
        ["---", *(f"{k}: {v}" for k, v in fields.items()), "---", ",".join(heads),
         *(",".join(row) for row in rows), ""]
    )  # fmt: skip
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "a.csv").write_text(text)
        (raw,) = find_sheets.source(folder / "a.csv")
        sheet = parse_sheet.typed(raw)
        contribute([folder / "a.csv"], folder / "out", b"key")
        found = curate([folder / "out"])
    assert len(sheet.readings) == len(rpm)
    expected = {
        r: t * correction_factors.to_reference("observed", at)
        for r, t in zip(rpm, torques, strict=True)
    }
    left_out = set(rpm) - set(found.pulls["rpm"])
    assert len(left_out) == found.findings["code"].isin(["spike", "dropout"]).sum()
    for r, t in zip(found.pulls["rpm"], found.pulls["torque"], strict=True):
        # rounded to a thousandth of the highest torque, and to what the dyno read
        assert t == pytest.approx(expected[r], abs=max(0.51, 0.00055 * max(expected.values())))
