"""What must hold for a sheet: one small rule each, every finding collected.

A rule takes a typed sheet and yields findings. `SHEET_RULES` judge a tested sheet, `BUILD_RULES`
a build that somebody asks about.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline import engine
from pipeline.correction import ASSUMED_HUMIDITY, CHASSIS_EFFICIENCY, REFERENCE, STANDARDS
from pipeline.units import TORQUE_POWER_CONSTANT, convert
from pipeline.weather import is_exact, weather_of
from schemas.fields import BUILD_FIELDS, FIELDS, PULL_FIELDS, WEATHER_REQUIRED
from schemas.findings import Finding, Severity

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pipeline.sheet import Sheet
    from schemas.fields import Field

    Rule = Callable[[Sheet], Iterator[Finding]]

#: Units that people leave out, by the unit that is then assumed.
_LEFT_OUT = {
    "in": ("mm", "cm"),
    "in2": ("mm2", "cm2"),
    "inHg": ("hPa", "kPa", "mmHg"),
    "degF": ("K",),
    "lb-ft": ("N.m",),
    "psi": ("kPa",),
}
_ENOUGH_RPM = 5
#: Brake mean effective pressure, kPa, that a four-stroke engine reaches at its best: from tired
#: and choked to raced on alcohol. Common practice, no source.
_MEAN_PRESSURE = (300.0, 1750.0)
_ATMOSPHERE_PSI = 14.696
#: Torque and power of one row may differ by this share and by half a horsepower of rounding.
_IDENTITY_SHARE = 0.015
_IDENTITY_HP = 0.5


def _spoiled(sheet: Sheet, name: str) -> bool:
    """Tell whether a field is already refused, so that one fault is told once."""
    return any(f.field == name and f.severity is Severity.REFUSE for f in sheet.findings)


def required(sheet: Sheet) -> Iterator[Finding]:
    """Fields without which a tested sheet says nothing."""
    yield from _missing(sheet, tuple(name for name, field in FIELDS.items() if field.required))


def required_of_build(sheet: Sheet) -> Iterator[Finding]:
    """Fields without which an engine has no size."""
    yield from _missing(sheet, tuple(name for name in BUILD_FIELDS if FIELDS[name].required))


def _missing(sheet: Sheet, names: tuple[str, ...]) -> Iterator[Finding]:
    for name in names:
        if sheet.values.get(name) is None and not _spoiled(sheet, name):
            message = f"{name} ({FIELDS[name].meaning}) is missing; give {FIELDS[name].allowed}"
            yield Finding("missing", message, name, sheet.rows.get(name))


def ranges(sheet: Sheet) -> Iterator[Finding]:
    """Every number lies within what can be."""
    for name, field in FIELDS.items():
        number = sheet.number(name) if field.numeric else None
        if number is not None:
            yield from _range(field, number, sheet.rows.get(name))


def pull_ranges(sheet: Sheet) -> Iterator[Finding]:
    """Every reading lies within what can be."""
    for reading in sheet.readings:
        for name in ("rpm", "torque", "power"):
            number = getattr(reading, name)
            if number is not None:
                yield from _range(PULL_FIELDS[name], number, reading.row)


def _range(field: Field, number: float, row: int | None) -> Iterator[Finding]:
    low, high = field.low, field.high
    if low is None or high is None or low <= number <= high:
        return
    hint = next(
        (
            f"; if this is {unit}, write '{number:g} {unit}', or head a column"
            f" '{field.name} ({unit})'"
            for unit in _LEFT_OUT.get(field.unit, ())
            if low <= convert(number, unit, field.unit) <= high
        ),
        "",
    )
    message = f"{field.name} is {number:g} {field.unit}; it must be {field.allowed}{hint}"
    yield Finding("out-of-range", message, field.name, row, f"{number:g}")


def weather(sheet: Sheet) -> Iterator[Finding]:
    """Observed numbers come with the weather; a standard is used where it was written for."""
    stated = sheet.values.get("correction")
    if stated is None:
        return
    for name in WEATHER_REQUIRED if stated == "observed" else ():
        if sheet.values.get(name) is None and not _spoiled(sheet, name):
            message = f"the numbers are as observed and {name} is missing: they cannot be corrected"
            yield Finding("missing-weather", message, name)
    at = weather_of(sheet.values)
    if at is None or any(_spoiled(sheet, n) for n in (*WEATHER_REQUIRED, "relative_humidity")):
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


def boost(sheet: Sheet) -> Iterator[Finding]:
    """A boosted engine says how much."""
    aspiration = sheet.values.get("aspiration")
    boosted = aspiration not in (None, "natural")
    if boosted and sheet.values.get("boost") is None and not _spoiled(sheet, "boost"):
        message = f"the engine is {aspiration} and boost is missing; give {FIELDS['boost'].allowed}"
        yield Finding("missing-boost", message, "boost")


def enough_rpm(sheet: Sheet) -> Iterator[Finding]:
    """A pull has at least five distinct rpm with a reading."""
    distinct = len({reading.rpm for reading in sheet.readings})
    if distinct == 0 and not any(_spoiled(sheet, name) for name in PULL_FIELDS):
        yield Finding("no-pull", "there is no table of rpm with torque or power", "rpm")
    elif distinct < _ENOUGH_RPM:
        message = f"the pull has {distinct} distinct rpm; at least {_ENOUGH_RPM} make a curve"
        yield Finding("too-few-rpm", message, "rpm")


def identity(sheet: Sheet) -> Iterator[Finding]:
    """Torque times rpm is power: 5252.1 lb-ft rpm a horsepower."""
    for reading in sheet.readings:
        if reading.torque is None or reading.power is None:
            continue
        expected = reading.torque * reading.rpm / TORQUE_POWER_CONSTANT
        if abs(reading.power - expected) > _IDENTITY_SHARE * expected + _IDENTITY_HP:
            message = (
                f"row {reading.row}: {reading.torque:.1f} lb-ft at {reading.rpm:.0f} rpm is"
                f" {expected:.1f} hp, and the sheet says {reading.power:.1f} hp; check the units"
                " of both columns"
            )
            yield Finding("torque-power-disagree", message, "power", reading.row)


def mean_pressure(sheet: Sheet) -> Iterator[Finding]:
    """The best brake mean effective pressure of a pull is one an engine can have."""
    size = [sheet.number(name) for name in ("bore", "stroke", "cylinders")]
    torques = [torque for r in sheet.readings if (torque := torque_of(r.torque, r.power, r.rpm))]
    if None in size or not torques or any(_spoiled(sheet, n) for n in ("bore", "stroke", "boost")):
        return
    bore, stroke, cylinders = (number for number in size if number is not None)
    volume = float(engine.displacement(bore, stroke, cylinders)) * engine.CUBIC_INCH
    best = max(torques) * engine.LBFT
    kpa = float(engine.brake_mean_effective_pressure(best, volume)) / 1000
    low, high = _MEAN_PRESSURE
    high *= 1 + (sheet.number("boost") or 0.0) / _ATMOSPHERE_PSI
    if not low <= kpa <= high:
        message = (
            f"the best torque, {max(torques):.0f} lb-ft from {volume / engine.CUBIC_INCH:.0f} in3,"
            f" is a mean effective pressure of {kpa:.0f} kPa; {low:.0f} to {high:.0f} can be:"
            " check the units of torque, bore and stroke, and the number of cylinders"
        )
        yield Finding("mean-pressure", message, "torque")


def torque_of(torque: float | None, power: float | None, rpm: float) -> float | None:
    """Return the torque of a reading, lb-ft: the one it gives, or the one its power means."""
    if torque is not None or power is None:
        return torque
    return power * TORQUE_POWER_CONSTANT / rpm


def shop_named(sheet: Sheet) -> Iterator[Finding]:
    """A contributed sheet says which shop it is from."""
    if sheet.values.get("shop") is None:
        message = "shop is missing; a contributed sheet needs it (only a code of it is written)"
        yield Finding("missing-shop", message, "shop")


BUILD_RULES: tuple[Rule, ...] = (required_of_build, ranges, boost)
SHEET_RULES: tuple[Rule, ...] = (
    required,
    ranges,
    weather,
    certainty,
    boost,
    pull_ranges,
    enough_rpm,
    identity,
    mean_pressure,
)
CONTRIBUTION_RULES: tuple[Rule, ...] = (*SHEET_RULES, shop_named)


#: Findings after which there is nothing to judge.
_NO_SHEET = frozenset(
    {"not-readable", "no-front-matter", "front-matter-unreadable", "pull-without-build"}
)


def judge(sheet: Sheet, rules: tuple[Rule, ...]) -> Sheet:
    """Add what the rules find to the sheet's findings and return the sheet."""
    if any(finding.code in _NO_SHEET for finding in sheet.findings):
        return sheet
    for rule in rules:
        sheet.findings.extend(list(rule(sheet)))
    return sheet
