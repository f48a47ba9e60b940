"""Humid air against psychrolib, correction standards against what they promise of themselves."""

import math

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pullbook.pipeline.physics import correction_factors, humid_air
from pullbook.pipeline.physics.correction_factors import STANDARDS, Weather
from pullbook.pipeline.physics.reference_condition import route

psychrolib.SetUnitSystem(psychrolib.SI)

CELSIUS = st.floats(-5, 45)
KPA = st.floats(75, 106)
HUMIDITY = st.floats(0, 100)


@pytest.mark.parametrize("celsius", range(1, 51, 7))
def test_vapour_pressure_is_psychrolibs(celsius):
    """Psychrolib carries the ASHRAE Handbook's formula (Hyland and Wexler)."""
    theirs = psychrolib.GetSatVapPres(celsius) / 1000
    assert humid_air.saturation_pressure(celsius) == pytest.approx(theirs, rel=0.003)


@given(CELSIUS.filter(lambda t: t > 0.5), KPA, HUMIDITY)
def test_dry_pressure_is_psychrolibs(celsius, kpa, humidity):
    vapour = psychrolib.GetVapPresFromRelHum(celsius, humidity / 100) / 1000
    assert humid_air.dry_pressure(kpa, celsius, humidity) == pytest.approx(kpa - vapour, abs=0.03)


@pytest.mark.parametrize("name", STANDARDS)
def test_a_factor_is_one_at_its_own_reference(name):
    standard = STANDARDS[name]
    assert standard.factor(standard.reference) == pytest.approx(1.0, abs=1e-4)
    assert standard.covers(standard.reference)


@pytest.mark.parametrize("name", STANDARDS)
def test_thin_warm_or_wet_air_is_made_up_for(name):
    standard, at = STANDARDS[name], STANDARDS[name].reference
    for worse in (
        Weather(at.celsius + 5, at.pressure, at.humidity),
        Weather(at.celsius, at.pressure - 2, at.humidity),
    ):
        assert standard.factor(worse) > standard.factor(at)
    wet = standard.factor(Weather(at.celsius, at.pressure, 90))
    assert wet == pytest.approx(1.0, abs=1e-4) if name == "DIN 70020" else wet > 1.005


@given(CELSIUS, KPA, HUMIDITY, st.sampled_from(sorted(STANDARDS)))
def test_factors_rise_with_temperature_and_fall_with_pressure(celsius, kpa, humidity, name):
    factor = STANDARDS[name].factor
    assert factor(Weather(celsius + 1, kpa, humidity)) > factor(Weather(celsius, kpa, humidity))
    assert factor(Weather(celsius, kpa + 1, humidity)) < factor(Weather(celsius, kpa, humidity))


def test_j607_stands_about_four_percent_above_j1349():
    """Common practice, no source: STP numbers read about 4 % above J1349."""
    ratio = correction_factors.to_reference("SAE J607", None)
    assert 1 / ratio == pytest.approx(1.04, abs=0.005)


def test_j1349_by_hand():
    """1.18 x (990 hPa / dry) x sqrt(T / 298) - 0.18, in the standard's own units, from memory."""
    weather = Weather(30.0, 98.0, 40.0)
    dry_hpa = 980.0 - 0.40 * psychrolib.GetSatVapPres(30.0) / 100
    by_hand = 1.18 * (990 / dry_hpa) * math.sqrt((30.0 + 273.15) / 298.15) - 0.18
    assert correction_factors.factor("SAE J1349", weather) == pytest.approx(by_hand, rel=5e-4)


@given(CELSIUS, KPA, HUMIDITY, st.sampled_from(sorted(STANDARDS)), st.floats(10, 900))
def test_correcting_and_undoing_is_the_identity(celsius, kpa, humidity, name, torque):
    weather = Weather(celsius, kpa, humidity)
    stated = torque * correction_factors.factor(name, weather)
    at_reference = stated * correction_factors.to_reference(name, weather)
    direct = torque * correction_factors.to_reference("observed", weather)
    assert at_reference == pytest.approx(direct, rel=1e-12)


def test_observed_numbers_need_the_weather():
    with pytest.raises(ValueError, match="weather"):
        correction_factors.to_reference("observed", None)


WEATHER = {"air_temperature": 86.0, "barometer": 29.0, "relative_humidity": 40.0}


@pytest.mark.parametrize(
    ("values", "name", "sd"),
    [
        ({"correction": "observed", **WEATHER}, "weather", 0.0),
        ({"correction": "SAE J607", **WEATHER}, "weather", 0.0),
        ({"correction": "SAE J607"}, "nominal", correction_factors.NOMINAL_SD),
        ({"correction": "SAE J1349", **WEATHER}, "stated", 0.0),
        ({"correction": "SAE J1349", "dyno": "chassis"}, "stated", correction_factors.CHASSIS_SD),
    ],
)
def test_the_way_to_the_reference(values, name, sd):
    found = route(values)
    assert (found.name, found.sd) == (name, sd)
    if name == "stated" and "dyno" not in values:
        assert found.factor == 1.0


def test_a_stated_factor_is_undone_exactly_where_the_weather_is_known():
    weather = Weather(30.0, 29.0 * humid_air.KPA_PER_INHG, 40.0)
    factor = route({"correction": "SAE J607", **WEATHER}).factor
    expected = correction_factors.sae_j1349(weather) / correction_factors.sae_j607(weather)
    assert factor == pytest.approx(expected, rel=1e-12)


def second(standard, fahrenheit, inhg, humidity):
    """The factors once more, in the units of an American dyno cell: degF, inHg and mmHg.

    Written from the handbook forms, from memory: cf = 1.18 (29.235 / dry) sqrt((F + 460) / 537)
    - 0.18 and the like, with psychrolib's vapour pressure (ASHRAE Handbook) in psi.
    """
    psychrolib.SetUnitSystem(psychrolib.IP)
    vapour = psychrolib.GetVapPresFromRelHum(fahrenheit, humidity / 100) * 2.036021
    psychrolib.SetUnitSystem(psychrolib.SI)
    dry, rankine = inhg - vapour, fahrenheit + 459.67
    match standard:
        case "SAE J1349":
            return 1.18 * (29.2348 / dry) * (rankine / 536.67) ** 0.5 - 0.18
        case "SAE J607":
            return (29.9213 / dry) * (rankine / 519.67) ** 0.5
        case "DIN 70020":
            return (759.81 / (inhg * 25.4)) * ((rankine / 1.8) / 293.15) ** 0.5
        case "ISO 1585":
            return (29.2348 / dry) ** 1.2 * (rankine / 536.67) ** 0.6
    raise AssertionError


@pytest.mark.parametrize("standard", STANDARDS)
@pytest.mark.parametrize("inhg", [24.9, 28.0, 29.92, 30.6])
@pytest.mark.parametrize("fahrenheit", [35.0, 60.0, 77.0, 105.0])
@pytest.mark.parametrize("humidity", [0.0, 50.0, 95.0])
def test_the_factor_tables_against_a_second_implementation(standard, fahrenheit, inhg, humidity):
    weather = Weather((fahrenheit - 32) / 1.8, inhg * humid_air.KPA_PER_INHG, humidity)
    expected = second(standard, fahrenheit, inhg, humidity)
    assert correction_factors.factor(standard, weather) == pytest.approx(expected, rel=7e-4)
