"""Rules about the test: the weather, the correction, and what makes a number less certain."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.checks.field_rules import spoiled
from pullbook.pipeline.physics.correction_factors import (
    ASSUMED_HUMIDITY,
    CHASSIS_EFFICIENCY,
    REFERENCE,
    STANDARDS,
)
from pullbook.pipeline.physics.reference_condition import is_exact, station_pressure, weather_of
from pullbook.schemas.fields import WEATHER_REQUIRED
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.values.sheet import Sheet

_WEATHER = (*WEATHER_REQUIRED, "relative_humidity")
#: Weather moves station pressure by less than this, inHg, either way.
_WEATHER_INHG = 1.3


def weather(sheet: Sheet) -> Iterator[Finding]:
    """Observed numbers come with the weather; a standard is used where it was written for."""
    stated = sheet.values.get("correction")
    if stated is None:
        return
    for name in WEATHER_REQUIRED if stated == "observed" else ():
        if sheet.values.get(name) is None and not spoiled(sheet, name):
            message = f"the numbers are as observed and {name} is missing: they cannot be corrected"
            yield Finding("missing-weather", message, name)
    at = weather_of(sheet.values)
    if at is None or any(spoiled(sheet, n) for n in _WEATHER):
        return
    used = REFERENCE if stated == "observed" else str(stated)
    for name in dict.fromkeys((used, REFERENCE)):
        if not STANDARDS[name].covers(at):
            message = (
                f"{at.celsius:.0f} degC and {at.pressure:.1f} kPa (factor"
                f" {STANDARDS[name].factor(at):.3f}) are outside what {name} was written for"
            )
            yield Finding("correction-range", message, "correction", sheet.rows.get("correction"))
    if sheet.values.get("relative_humidity") is None:
        message = f"relative_humidity is missing; {ASSUMED_HUMIDITY:g} % was assumed"
        yield Finding("assumed-humidity", message, "relative_humidity")


def station(sheet: Sheet) -> Iterator[Finding]:
    """The barometer shows the pressure where the engine stood, not that of the sea below it."""
    elevation, read = sheet.number("elevation"), sheet.number("barometer")
    if elevation is None or read is None or spoiled(sheet, "barometer"):
        return
    expected = station_pressure(elevation)
    if abs(read - expected) > _WEATHER_INHG:
        message = (
            f"barometer is {read:.2f} inHg at {elevation:.0f} ft, where about {expected:.2f} is"
            " read; give the station pressure, not the one reduced to sea level"
        )
        yield Finding("sea-level-barometer", message, "barometer", sheet.rows.get("barometer"),
                      f"{read:.2f}")  # fmt: skip


def certainty(sheet: Sheet) -> Iterator[Finding]:
    """What makes a sheet's numbers less certain at the reference condition."""
    stated = sheet.values.get("correction")
    if stated is not None and not is_exact(sheet.values) and stated != "observed":
        message = (
            f"stated in {stated} without the weather: a nominal ratio leads to {REFERENCE};"
            " give air_temperature and barometer"
        )
        yield Finding("nominal-correction", message, "correction", sheet.rows.get("correction"))
    if sheet.values.get("dyno") == "chassis":
        message = (
            f"a chassis dyno: a driveline efficiency of {CHASSIS_EFFICIENCY:g} leads to the"
            " flywheel"
        )
        yield Finding("chassis-dyno", message, "dyno", sheet.rows.get("dyno"))
