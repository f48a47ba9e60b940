"""Rules about fields one by one: that it is there, that it can be, in which unit it was meant."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.values.units import convert
from pullbook.schemas.codes import Severity
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS, PULL_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.values.sheet import Sheet
    from pullbook.schemas.fields import Field

#: Units that people leave out, by the unit that is then assumed.
_LEFT_OUT = {
    "in": ("mm", "cm"),
    "in2": ("mm2", "cm2"),
    "inHg": ("hPa", "kPa", "mmHg"),
    "degF": ("K",),
    "lb-ft": ("N.m",),
    "psi": ("kPa",),
    "ft": ("m",),
}
_LIMITED = tuple(
    (name, field.low, field.high)
    for name, field in FIELDS.items()
    if field.numeric and field.low is not None and field.high is not None
)
_REQUIRED = tuple(name for name, field in FIELDS.items() if field.required)
_BUILD_REQUIRED = tuple(name for name in BUILD_FIELDS if FIELDS[name].required)
#: A bare air temperature below this, degF, is as likely meant in degC.
_COLD_AIR = 45.0
#: A bare coolant or oil temperature below this, degF, likewise: engines are pulled warm.
_COLD_ENGINE = 120.0
#: Fields that a sheet writes in metric units when it writes metric at all.
_METRIC = ("bore", "stroke", "barometer")


def spoiled(sheet: Sheet, name: str) -> bool:
    """Tell whether a field is already refused, so that one fault is told once."""
    return any(f.field == name and f.severity is Severity.REFUSE for f in sheet.findings)


def required(sheet: Sheet) -> Iterator[Finding]:
    """Fields without which a tested sheet says nothing."""
    return _missing(sheet, _REQUIRED)


def required_of_build(sheet: Sheet) -> Iterator[Finding]:
    """Fields without which an engine has no size."""
    return _missing(sheet, _BUILD_REQUIRED)


def _missing(sheet: Sheet, names: tuple[str, ...]) -> Iterator[Finding]:
    for name in names:
        if sheet.values.get(name) is None and not spoiled(sheet, name):
            message = f"{name} ({FIELDS[name].meaning}) is missing; give {FIELDS[name].allowed}"
            yield Finding("missing", message, name, sheet.rows.get(name))


def ranges(sheet: Sheet) -> Iterator[Finding]:
    """Every number lies within what can be; one that would in another unit shows the fix."""
    values = sheet.values
    for name, low, high in _LIMITED:
        number = values.get(name)
        if number is not None and not low <= number <= high:  # type: ignore[operator]
            yield _out_of_range(FIELDS[name], float(number), sheet.rows.get(name))


def pull_ranges(sheet: Sheet) -> Iterator[Finding]:
    """Every reading lies within what can be."""
    for name in ("rpm", "torque", "power"):
        field = PULL_FIELDS[name]
        low, high = field.low or 0.0, field.high or 0.0
        for reading in sheet.readings:
            number = getattr(reading, name)
            if number is not None and not low <= number <= high:
                yield _out_of_range(field, number, reading.row)


def _out_of_range(field: Field, number: float, row: int | None) -> Finding:
    low, high = field.low or 0.0, field.high or 0.0
    said = f"{field.name} is {number:g} {field.unit}".rstrip()
    for unit in _LEFT_OUT.get(field.unit, ()):
        if low <= convert(number, unit, field.unit) <= high:
            message = (
                f"{said}; it must be {field.allowed}; if this is {unit}, write '{number:g} {unit}',"
                f" or head a column '{field.name} ({unit})'"
            )
            return Finding("unit-left-out", message, field.name, row, f"{number:g}")
    message = f"{said}; it must be {field.allowed}"
    return Finding("out-of-range", message, field.name, row, f"{number:g}")


def degrees(sheet: Sheet) -> Iterator[Finding]:
    """A bare temperature that would be cold in degF was perhaps meant in degC."""
    for name, cold in (
        ("air_temperature", _COLD_AIR),
        ("coolant_temperature", _COLD_ENGINE),
        ("oil_temperature", _COLD_ENGINE),
    ):
        number = sheet.number(name)
        if name not in sheet.bare or number is None or not 5 <= number < cold:
            continue
        row, value = sheet.rows.get(name), f"{number:g}"
        message = f"{name} is {value} without a unit; write '{value} degC' or '{value} degF'"
        metric = any(f in sheet.values and f not in sheet.bare for f in _METRIC)
        if name == "air_temperature" and metric:
            message += ": other fields of the sheet are in metric units"
            yield Finding("unit-left-out", message, name, row, value)
        else:
            yield Finding("unit-in-doubt", message + "; degF was assumed", name, row, value)


def humidity(sheet: Sheet) -> Iterator[Finding]:
    """A bare humidity of one or less was meant as a fraction."""
    number = sheet.number("relative_humidity")
    if "relative_humidity" in sheet.bare and number is not None and 0 < number <= 1:
        message = (
            f"relative_humidity is {number:g} without a unit; write '{100 * number:g} %', or"
            f" '{number:g} %' if it was that dry"
        )
        row = sheet.rows.get("relative_humidity")
        yield Finding("unit-left-out", message, "relative_humidity", row, f"{number:g}")


def shop_named(sheet: Sheet) -> Iterator[Finding]:
    """A contributed sheet says which shop it is from."""
    if sheet.values.get("shop") is None:
        message = "shop is missing; a contributed sheet needs it (only a code of it is written)"
        yield Finding("missing-shop", message, "shop")
