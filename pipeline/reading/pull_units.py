"""The units of torque and power where the headings name none."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.physics import engine_quantities
from pullbook.pipeline.physics.constants import CUBIC_INCH, LBFT, TORQUE_POWER_CONSTANT
from pullbook.pipeline.values.settled import Settled
from pullbook.pipeline.values.unit_proof import POWER_UNITS, TORQUE_UNITS, Rounded, pairs
from pullbook.pipeline.vocabulary.units import scale
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Decision, Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

#: Mean effective pressures of natural engines at their best torque, kPa: beyond these a unit is
#: ruled out (common practice, no source).
_POSSIBLE, _USUAL = (300.0, 1750.0), (450.0, 1450.0)
#: Median torque times rpm over power may be so far off its unit's constant, as a share.
_NEAR = 0.015


class Bare(NamedTuple):
    """A column: numbers in the default unit if it names none, their rounding, and its unit."""

    numbers: list[float | None]
    half: float
    unit: str | None


class SettledUnit(NamedTuple):
    """The unit of a quantity, how it was settled, and what to say; no unit is the default one."""

    unit: str | None
    how: Settled
    finding: Finding | None = None


class EngineSize(NamedTuple):
    """What the sheet says of the engine: metric sizes, and displacement, in3, if it is natural."""

    metric: bool
    displacement: float | None


def settle_units(
    columns: Mapping[str, Bare], engine: EngineSize, meant: Mapping[str, str], row: int | None
) -> dict[str, SettledUnit]:
    """Return the units of columns that name none, where they are not in the default one.

    What torque and power prove together comes first, then what the settings say. On a sheet of
    inches a bare column is then in the default unit; on a metric sheet the unit must be the only
    one that is possible for the engine's size.

    Parameters
    ----------
    columns
        rpm, torque and power, as far as they are there.
    engine
        What the sheet says of the engine.
    meant
        Units of bare columns, from the shop's settings.
    row
        Where the table is, for findings.

    """
    columns = {
        name: column
        for name, column in columns.items()
        if any(number is not None for number in column.numbers)
    }
    bare: list[str] = [
        name for name in ("torque", "power") if name in columns and columns[name].unit is None
    ]
    told: list[str] = [name for name in bare if name in meant]
    three = len(columns) == 3
    if not bare or (three and not engine.metric and not told and _fits_default(columns)):
        return {}
    proven = _prove(columns) if three else []
    if len(proven) == 1:
        return _of_pair(proven[0], bare, meant, row, metric=engine.metric)
    if told:
        return _as_told(columns, told, engine, meant, row)
    if not engine.metric:
        return {}
    if three:
        return _unproven(columns, bare, proven, row)
    return _only_possible(columns, bare, engine.displacement, row)


def _as_told(
    columns: dict[str, Bare],
    told: list[str],
    engine: EngineSize,
    meant: Mapping[str, str],
    row: int | None,
) -> dict[str, SettledUnit]:
    """Return the units that the settings say, and what they settle of the other column."""
    found = {}
    for name in told:
        message = f"{PULL_FIELDS[name].title} is in {meant[name]}, as your settings say."
        finding = Finding("from-settings", message, name, None, meant[name])
        found[name] = SettledUnit(meant[name], Settled.SETTINGS, finding)
        slope = scale(meant[name], PULL_FIELDS[name].unit)[0]
        numbers = [None if n is None else n * slope for n in columns[name].numbers]
        columns = {**columns, name: columns[name]._replace(numbers=numbers, unit=meant[name])}
    return {**found, **settle_units(columns, engine, {}, row)}


def _only_possible(
    columns: dict[str, Bare], bare: list[str], displacement: float | None, row: int | None
) -> dict[str, SettledUnit]:
    possible, name = _possible(columns, displacement), bare[0]
    if len(possible) != 1:
        return _unproven(columns, bare, [], row)
    message = (
        f"{PULL_FIELDS[name].title} has no unit; for an engine of this size it can only be"
        f" {possible[0]}. Write the unit in the heading."
    )
    finding = Finding("unit-assumed", message, name, row, possible[0])
    return {name: SettledUnit(possible[0], Settled.ONLY, finding)}


def _of_pair(
    pair: tuple[str, str],
    bare: Sequence[str],
    meant: Mapping[str, str],
    row: int | None,
    *,
    metric: bool,
) -> dict[str, SettledUnit]:
    units = dict(zip(("torque", "power"), pair, strict=True))
    against = [name for name in bare if name in meant and _unlike(meant[name], units[name], name)]
    message = (
        f"Torque times rpm against power proves the units: torque in {pair[0]}, power in {pair[1]}."
    )
    if against:
        message += f" Your settings say {meant[against[0]]}; the sheet counts."
    code = "not-as-in-settings" if against else "unit-proven" if metric else "unit-assumed"
    finding = Finding(code, message, bare[0], row, ", ".join(pair))
    return {
        name: SettledUnit(units[name], Settled.PROVEN, finding if name == bare[0] else None)
        for name in bare
    }


def _unlike(one: str, other: str, name: str) -> bool:
    own = PULL_FIELDS[name].unit
    return scale(one, own) != scale(other, own)


def _raw(column: Bare, name: str) -> Rounded:
    """Return a column in the unit it is written in."""
    slope = scale(column.unit, PULL_FIELDS[name].unit)[0]
    return Rounded([None if n is None else n / slope for n in column.numbers], column.half)


def _prove(columns: dict[str, Bare]) -> list[tuple[str, str]]:
    torque, power = columns["torque"], columns["power"]
    return pairs(
        _raw(columns["rpm"], "rpm"),
        _raw(torque, "torque"),
        _raw(power, "power"),
        TORQUE_UNITS if torque.unit is None else (torque.unit,),
        POWER_UNITS if power.unit is None else (power.unit,),
    )


def _fits_default(columns: dict[str, Bare]) -> bool:
    """Return whether torque and power fit as they stand, in the units named and the default."""
    found = sorted(
        torque * rpm / (power * TORQUE_POWER_CONSTANT)
        for rpm, torque, power in zip(
            *(columns[name].numbers for name in ("rpm", "torque", "power")), strict=True
        )
        if rpm and torque and power
    )
    return not found or abs(found[len(found) // 2] - 1) < _NEAR


def _possible(columns: dict[str, Bare], displacement: float | None) -> list[str]:
    """Return the units in which the best torque, or power, is possible for the engine's size.

    One that is possible and not usual rules out no other, and is not taken itself.
    """
    if displacement is None:
        return []
    name, units = ("torque", TORQUE_UNITS) if "torque" in columns else ("power", POWER_UNITS)
    own = PULL_FIELDS[name].unit
    speeds: Sequence[float | None] = columns["rpm"].numbers if "rpm" in columns else []
    found = {}
    for unit in units:
        slope = scale(unit, own)[0]
        numbers = [None if n is None else n * slope for n in columns[name].numbers]
        best = max(_torques(name, numbers, speeds), default=0.0)
        pressure = engine_quantities.brake_mean_effective_pressure(
            best * LBFT, displacement * CUBIC_INCH
        )
        if _POSSIBLE[0] <= float(pressure) / 1000 <= _POSSIBLE[1]:
            found[unit] = _USUAL[0] <= float(pressure) / 1000 <= _USUAL[1]
    return list(found) if all(found.values()) else []


def _torques(
    name: str, numbers: Sequence[float | None], speeds: Sequence[float | None]
) -> Iterable[float]:
    for number, speed in zip(numbers, speeds, strict=False):
        if number and speed:
            yield number if name == "torque" else number * TORQUE_POWER_CONSTANT / speed


def _unproven(
    columns: dict[str, Bare], bare: list[str], left: list[tuple[str, str]], row: int | None
) -> dict[str, SettledUnit]:
    """Refuse columns whose unit is not settled, with the readings that are possible."""
    name = bare[0]
    best = max((n for n in columns[name].numbers if n is not None), default=0.0)
    units = TORQUE_UNITS[:2] if name == "torque" else POWER_UNITS[:2]
    own = PULL_FIELDS[name].unit
    readings = " or ".join(
        f"{best:g} {unit}" + (f" ({best * scale(unit, own)[0]:.0f} {own})" if unit != own else "")
        for unit in units
    )
    if left:
        fitting = " or ".join(f"{torque} with {power}" for torque, power in left)
        why = f"the rows fit {fitting}"
    elif len(bare) == 1 and len(columns) < 3:
        why = "there is no second column to prove it"
    else:
        why = "torque times rpm against power proves none"
    message = (
        f"{PULL_FIELDS[name].title} names no unit on a metric sheet, and {why}: the highest could"
        f" be {readings}. Write the unit in the heading, or in your settings file."
    )
    lines = tuple(
        "units: {" + ", ".join(f"{one}: {unit}" for one, unit in zip(("torque", "power"), pair,
                                                                    strict=True) if one in bare)
        + "}"
        for pair in (left or [("N.m", "kW"), ("lb-ft", "hp")])
    )  # fmt: skip
    decision = Decision(
        f"in which unit is {' and '.join(bare)}, where the column names none?", lines
    )
    finding = Finding("unit-unproven", message, name, row, None, decision)
    return {name: SettledUnit(None, Settled.ASSUMED, finding)}
