"""Rules for the test: the weather, the correction, and what makes a number less certain."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pullbook.pipeline.checks.field_rules import is_refused
from pullbook.pipeline.physics.correction_factors import (
    ASSUMED_HUMIDITY,
    CHASSIS_EFFICIENCY,
    REFERENCE,
    STANDARDS,
)
from pullbook.pipeline.physics.humid_air import KPA_PER_INHG, fahrenheit_of
from pullbook.pipeline.physics.reference_condition import is_exact, station_pressure, weather_of
from pullbook.pipeline.values.bare_numbers import STATION_OFF
from pullbook.schemas.fields import FIELDS, WEATHER_REQUIRED
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.physics.correction_factors import Standard, Weather
    from pullbook.pipeline.values.sheet import Sheet

_WEATHER = (*WEATHER_REQUIRED, "relative_humidity")


def weather(sheet: Sheet) -> Iterator[Finding]:
    """Observed numbers come with the weather, and the weather is in the standard's range."""
    stated = sheet.values.get("correction")
    if stated is None:
        return
    for name in WEATHER_REQUIRED if stated == "observed" else ():
        if sheet.values.get(name) is None and not is_refused(sheet, name):
            message = (
                f"{FIELDS[name].title} is missing. Observed numbers cannot be corrected without it;"
                f" add the field {name}."
            )
            yield Finding("missing-weather", message, name)
    at = weather_of(sheet.values)
    if at is None or any(is_refused(sheet, n) for n in _WEATHER):
        return
    used = REFERENCE if stated == "observed" else str(stated)
    for name in dict.fromkeys((used, REFERENCE)):
        if not STANDARDS[name].covers(at):
            message = (
                f"Outside the range of {name}: {_beyond(sheet, STANDARDS[name], at)}. If it is"
                " right, leave it; the sheet counts a little less in training."
            )
            yield Finding("correction-range", message, "correction", sheet.rows.get("correction"))
    if sheet.values.get("relative_humidity") is None:
        message = f"Relative humidity is missing; {ASSUMED_HUMIDITY:g} % was assumed."
        yield Finding("assumed-humidity", message, "relative_humidity")


def _beyond(sheet: Sheet, standard: Standard, at: Weather) -> str:
    """Return what of the weather is outside a standard's range, and that range."""
    found = []
    (cold, hot), (low, high) = standard.celsius, standard.pressure
    if not cold <= at.celsius <= hot:
        here, *ends = (
            sheet.shown("air_temperature", fahrenheit_of(one), 3) for one in (at.celsius, cold, hot)
        )
        found.append(f"air temperature {here} (range {ends[0].split()[0]} to {ends[1]})")
    if not low <= at.pressure <= high:
        here, *ends = (
            sheet.shown("barometer", one / KPA_PER_INHG) for one in (at.pressure, low, high)
        )
        found.append(f"barometer {here} (range {ends[0].split()[0]} to {ends[1]})")
    factor = standard.factor(at)
    if standard.limits is not None and not standard.limits[0] <= factor <= standard.limits[1]:
        least, most = standard.limits
        found.append(f"correction factor {factor:.3f} (range {least:g} to {most:g})")
    return ", ".join(found)


_SAYS_OBSERVED = re.compile(
    r"\b(?:uncorrected|not corrected|as observed|raw (?:numbers|data)|unkorrigiert|"
    r"nicht korrigiert|sin corregir)\b",
    re.IGNORECASE,
)
_SAYS_CHASSIS = re.compile(
    r"\b(?:at the wheels?|wheel (?:hp|horsepower|torque|power)|rwhp|rwtq|whp|wtq|chassis dyno|"
    r"rolling road|rollenpr\u00fcfstand)\b",
    re.IGNORECASE,
)


def contradicted(sheet: Sheet) -> Iterator[Finding]:
    """No text on the sheet says otherwise than its correction and its dyno."""
    texts = [str(sheet.values.get("notes") or "")]
    texts += [str(f.value) for f in sheet.findings if f.code == "text-left-out"]
    stated = sheet.values.get("correction")
    for text in texts:
        if stated not in (None, "observed") and (said := _SAYS_OBSERVED.search(text)):
            message = (
                f"The sheet says {stated}, and a text on it says {said[0]!r}. Check which holds."
            )
            yield Finding("text-contradicts", message, "correction", None, text[:60])
        if sheet.values.get("dyno") != "chassis" and (said := _SAYS_CHASSIS.search(text)):
            message = (
                f"A text on the sheet says {said[0]!r}, and the numbers are taken to be of an"
                " engine dyno. If they are not, add the field dyno: chassis."
            )
            yield Finding("text-contradicts", message, "dyno", None, text[:60])


def contributed(sheet: Sheet) -> Iterator[Finding]:
    """The fields that `pullbook contribute` writes stand together, and fit the correction."""
    stated, taken = sheet.values.get("stated_correction"), sheet.values.get("correction_route")
    if stated is None and taken is None:
        return
    if stated is None or taken is None or sheet.values.get("correction") != REFERENCE:
        name = "stated_correction" if stated is not None else "correction_route"
        message = (
            f"{FIELDS[name].title} is only for sheets that pullbook contribute wrote: those give"
            f" stated_correction and correction_route together, and are in {REFERENCE}. Remove it,"
            " and let correction say what the numbers are in."
        )
        yield Finding("not-contributed", message, name, sheet.rows.get(name), str(stated or taken))


def station(sheet: Sheet) -> Iterator[Finding]:
    """The barometer is the station pressure at the dyno, not reduced to sea level."""
    elevation, read = sheet.number("elevation"), sheet.number("barometer")
    if elevation is None or read is None or is_refused(sheet, "barometer"):
        return
    expected = station_pressure(elevation)
    if abs(read - expected) > STATION_OFF:
        message = (
            f"Barometer is {sheet.shown('barometer', read)} at"
            f" {sheet.shown('elevation', elevation)}, where about"
            f" {sheet.shown('barometer', expected)} is usual. Give the station pressure, not the"
            " one reduced to sea level."
        )
        yield Finding("sea-level-barometer", message, "barometer", sheet.rows.get("barometer"),
                      f"{read:.2f}")  # fmt: skip


def certainty(sheet: Sheet) -> Iterator[Finding]:
    """What makes the numbers of a sheet less certain at the reference condition."""
    stated = sheet.values.get("correction")
    if stated is not None and not is_exact(sheet.values) and stated != "observed":
        stated = sheet.values.get("stated_correction") or stated
        message = (
            f"The numbers are in {stated} without the weather, so a nominal ratio to {REFERENCE}"
            " was used. For an exact one, add air temperature and barometer."
        )
        if "correction_route" in sheet.values:
            message = (
                f"The numbers were in {stated} without the weather, so a nominal ratio to"
                f" {REFERENCE} was used."
            )
        yield Finding("nominal-correction", message, "correction", sheet.rows.get("correction"))
    if sheet.values.get("dyno") == "chassis":
        message = (
            "Measured on a chassis dyno; converted to the flywheel with a driveline efficiency of"
            f" {CHASSIS_EFFICIENCY:g}."
        )
        yield Finding("chassis-dyno", message, "dyno", sheet.rows.get("dyno"))
