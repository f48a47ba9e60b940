"""Numbers without a unit: the default one, the only one that can explain them, or the usual one.

A number in the range of its field counts in the field's default unit. Out of that range the units
that people forget to write are tried: if one alone explains the number, it is read in that one. On
a metric sheet temperatures and barometers are looked at more closely. All limits here are common
practice, no source.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.values.settled import Settled
from pullbook.pipeline.vocabulary.units import convert
from pullbook.schemas.field import Role
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.field import Field

#: Units that people forget to write, by field, or by the default unit of fields.
_LEFT_OUT: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "in": ("mm",), "in2": ("cm2", "mm2"), "in3": ("cc", "l"), "bore": ("mm", "cm"),
        "stroke": ("mm", "cm"), "rod_length": ("mm", "cm"), "runner_length": ("mm", "cm"),
        "primary_length": ("mm", "cm"), "boost": ("kPa", "mbar"),
    }
)  # fmt: skip
#: Displacement of a cylinder, in3, from a small generator's engine to a ship's.
_CYLINDER = (6.0, 130.0)
#: Station pressures where engines are tested, inHg: up to some 10,000 ft.
_STATION = (20.6, 32.2)
#: Weather changes station pressure by less than this, inHg, up or down.
STATION_OFF = 1.3
#: Inlet air: up to the first it can only be degC on a metric sheet, from the second only degF.
_AIR = (35.0, 50.0)
#: Coolant and oil of a warm engine, the same.
_ENGINE = (100.0, 130.0)
_TEMPERATURES: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"air_temperature": _AIR, "coolant_temperature": _ENGINE, "oil_temperature": _ENGINE}
)


_FRACTION = "fraction"
_SIZES = ("bore", "stroke")


class Sheetwide(NamedTuple):
    """What the rest of the sheet says.

    Attributes
    ----------
    metric
        Whether bore or stroke is in a metric unit.
    metric_weather
        The same, or the barometer is.
    cylinders
        Number of cylinders, if known.
    pressure
        Usual station pressure at the dyno, inHg, by its elevation or the shop's other sheets.
    of_others
        Whether the other sheets say so.
    """

    metric: bool
    metric_weather: bool
    cylinders: float | None
    pressure: float | None = None
    of_others: bool = False


class Settlement(NamedTuple):
    """A number in the field's unit, how its unit was settled, and what to say about it."""

    number: float
    settled: Settled
    finding: Finding | None = None


def left_out(name: str) -> tuple[str, ...]:
    """Return the units that people forget to write in a field."""
    return _LEFT_OUT.get(name, _LEFT_OUT.get(FIELDS[name].unit, ()))


def settle(field: Field, number: float, sheet: Sheetwide, row: int | None) -> Settlement:
    """Return what a number without a unit means.

    Parameters
    ----------
    field
        The field; it has a unit.
    number
        The number as written.
    sheet
        What the rest of the sheet says.
    row
        The row in the file, for findings.

    """
    units = _candidates(field, number, sheet)
    if not units or units == [field.unit]:
        return Settlement(number, Settled.WRITTEN)
    unit = units[0]
    value = convert(number, unit, field.unit)
    shown = f"{value:g} %" if unit == _FRACTION else f"{number:g} {unit}"
    said = f"{field.title} {number:g} has no unit"
    only = len(units) == 1
    if field.name == "barometer" and only and sheet.of_others:
        finding = Finding(
            "unit-explained", f"{said}; the shop's other sheets show that it is {shown}.",
            field.name, row, f"{number:g}",
        )  # fmt: skip
        return Settlement(value, Settled.OTHERS, finding)
    of_the_test = field.role is Role.TEST
    metric = sheet.metric or (of_the_test and sheet.metric_weather) or field.name in _SIZES
    if only and metric and unit != _FRACTION:
        finding = Finding(
            "unit-explained", f"{said}; it can only be {shown}.", field.name, row, f"{number:g}"
        )
        return Settlement(value, Settled.ONLY, finding)
    if not only:
        said += f" and could be in {unit} or {units[1]}"
    message = f"{said}; it was read as {shown}. Write the unit."
    finding = Finding("unit-assumed", message, field.name, row, f"{number:g}")
    return Settlement(value, Settled.ONLY if only else Settled.ASSUMED, finding)


def _candidates(field: Field, number: float, sheet: Sheetwide) -> list[str]:
    """Return the units that explain a number, the usual one first."""
    if field.name == "barometer":
        return _barometers(number, sheet)
    if field.name == "relative_humidity" and 0 < number < 1:
        return [_FRACTION]
    if field.name == "displacement":
        return _displacements(number, sheet)
    if field.name in _TEMPERATURES and sheet.metric_weather:
        low, high = _TEMPERATURES[field.name]
        return ["degC"] if number <= low else ["degF"] if number >= high else ["degC", "degF"]
    if _is_within(field, number, field.unit):
        return [field.unit]
    units = [unit for unit in left_out(field.name) if _is_within(field, number, unit)]
    return units if len(units) == 1 else []


def _is_within(field: Field, number: float, unit: str) -> bool:
    low, high = field.low or 0.0, field.high or 0.0
    return low <= convert(number, unit, field.unit) <= high


def _barometers(number: float, sheet: Sheetwide) -> list[str]:
    found = [
        unit
        for unit in ("inHg", "mmHg", "hPa", "kPa")
        if _STATION[0] <= convert(number, unit, "inHg") <= _STATION[1]
    ]
    if len(found) > 1 and (usual := sheet.pressure) is not None:
        near = [u for u in found if abs(convert(number, u, "inHg") - usual) < STATION_OFF]
        found = near if len(near) == 1 else found
    return found


def _displacements(number: float, sheet: Sheetwide) -> list[str]:
    if not sheet.cylinders:
        return []
    low, high = _CYLINDER
    found = [
        unit
        for unit in ("in3", "cc", "l")
        if low <= convert(number, unit, "in3") / sheet.cylinders <= high
    ]
    return ["in3"] if "in3" in found and not sheet.metric else found
