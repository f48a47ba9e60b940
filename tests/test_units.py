"""Units, held against definitions and SciPy's table of constants."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.vocabulary.units import (
    UnknownUnitError,
    WrongUnitError,
    convert,
)

# Each row: unit, field unit, what one unit is in the field's (SciPy's CODATA table and the
# definitions it is built on: inch, pound and standard gravity are exact).
FACTORS = [
    ("mm", "in", constants.milli / constants.inch),
    ("cm", "in", constants.centi / constants.inch),
    ("N.m", "lb-ft", 1 / (constants.pound_force * constants.foot)),
    ("N-m", "lb-ft", 1 / (constants.pound_force * constants.foot)),
    ("nm", "lb-ft", 1 / (constants.pound_force * constants.foot)),
    ("kgf m", "lb-ft", constants.kilogram_force / (constants.pound_force * constants.foot)),
    ("ft.lbs", "lb-ft", 1.0),
    ("kW", "hp", 1000 / constants.horsepower),
    ("PS", "hp", 75 * constants.g / constants.horsepower),  # 75 kgf m/s, DIN 66036
    ("hPa", "inHg", 100 / (constants.mmHg * 25.4)),
    ("mmHg", "inHg", 1 / 25.4),
    ("kPa", "psi", 1000 / constants.psi),
    ("bar", "psi", constants.bar / constants.psi),
    ("mm2", "in2", (constants.milli / constants.inch) ** 2),
    ("in3", "cc", (constants.inch / constants.centi) ** 3),
    ("l/s", "cfm", constants.liter / constants.foot**3 * 60),
    ("m3/h", "cfm", 1 / constants.foot**3 / 60),
]


@pytest.mark.parametrize(("unit", "field_unit", "factor"), FACTORS)
def test_factors_are_those_of_the_definitions(unit, field_unit, factor):
    # inHg at 0 degC and the conventional mmHg agree to 2e-5.
    assert convert(1.0, unit, field_unit) == pytest.approx(factor, rel=3e-5)


def test_temperatures_are_affine():
    assert convert(25, "degC", "degF") == pytest.approx(77)
    assert convert(298.15, "K", "degF") == pytest.approx(77)
    assert convert(-40, "C", "degF") == pytest.approx(-40)


def test_torque_times_speed_is_power_by_definition():
    """One horsepower is 550 ft lbf/s; one revolution is 2 pi rad."""
    by_definition = 550 * 60 / (2 * math.pi)
    by_si = constants.horsepower / (constants.pound_force * constants.foot * 2 * math.pi / 60)
    assert pytest.approx(by_definition, rel=1e-12) == TORQUE_POWER_CONSTANT
    assert pytest.approx(by_si, rel=1e-9) == TORQUE_POWER_CONSTANT
    assert round(TORQUE_POWER_CONSTANT, 1) == 5252.1


@given(number=st.floats(-1e6, 1e6), row=st.sampled_from(FACTORS))
def test_conversion_is_linear(number, row):
    unit, field_unit, _ = row
    one = convert(1.0, unit, field_unit)
    assert convert(number, unit, field_unit) == pytest.approx(number * one, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("unit", ["zolls", "mm mm(", "", "N.m.q", "\N{SNOWMAN}"])
def test_what_is_no_unit_is_said_to_be_none(unit):
    with pytest.raises((UnknownUnitError, WrongUnitError)):
        convert(1.0, unit or "?", "in")


@pytest.mark.parametrize(("unit", "field_unit"), [("kW", "lb-ft"), ("degC", "in"), ("mm", "in2")])
def test_a_unit_of_something_else_is_refused(unit, field_unit):
    with pytest.raises(WrongUnitError):
        convert(1.0, unit, field_unit)
