"""Rules for single fields: present, in range, and in the unit that was meant."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT, SIZE_FIELDS
from pullbook.pipeline.vocabulary.units import convert
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS, PULL_FIELDS
from pullbook.schemas.findings import Decision, Finding
from pullbook.schemas.severity import Severity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.values.sheet import Sheet
    from pullbook.schemas.field import Field, Value

#: Units that people forget to write, by the unit that is then assumed.
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
_WHICH_STANDARD = Decision(
    "what are the numbers in, observed or corrected to which standard?",
    tuple(f"correction: {standard}" for standard in FIELDS["correction"].choices),
)
#: An air temperature without a unit below this, degF, may well be in degC.
_COLD_AIR = 45.0
#: The same for a coolant or oil temperature, degF: engines are warm during a pull.
_COLD_ENGINE = 120.0


def is_refused(sheet: Sheet, name: str) -> bool:
    """Return whether a field is already refused, so that one fault is reported once."""
    return any(f.field == name and f.severity is Severity.REFUSE for f in sheet.findings)


def is_within(name: str, value: Value) -> bool:
    """Return whether a number is within the limits of its field."""
    field = FIELDS[name]
    low, high = field.low or 0.0, field.high or 0.0
    return isinstance(value, int | float) and low <= value <= high


def required(sheet: Sheet) -> Iterator[Finding]:
    """Fields that a tested sheet must have."""
    yield from _find_missing(sheet, _REQUIRED)
    yield from _size_missing(sheet)


def required_of_build(sheet: Sheet) -> Iterator[Finding]:
    """Fields that a build must have: the engine's size, unless a measured sheet gives it."""
    if sheet.values.get("measured") is not None:
        return
    yield from _find_missing(sheet, _BUILD_REQUIRED)
    yield from _size_missing(sheet)


def _size_missing(sheet: Sheet) -> Iterator[Finding]:
    """Bore and stroke are given, or the displacement is."""
    gone = [name for name in SIZE_FIELDS[:2] if sheet.values.get(name) is None]
    named = (*SIZE_FIELDS, DISPLACEMENT)
    if not gone or sheet.displacement is not None or any(is_refused(sheet, n) for n in named):
        return
    if sheet.values.get("cylinders") is None and sheet.values.get(DISPLACEMENT) is not None:
        return
    names = " and ".join(FIELDS[name].label for name in gone)
    message = (
        f"The size of the engine is missing. Add {names}, or the displacement (in cubic inches, or"
        " with its own unit: 5.7 l)."
    )
    yield Finding("missing", message, gone[0], sheet.rows.get(gone[0]))


def _find_missing(sheet: Sheet, names: tuple[str, ...]) -> Iterator[Finding]:
    for name in names:
        if sheet.values.get(name) is None and not is_refused(sheet, name):
            field = FIELDS[name]
            message = f"{field.title} is missing. Add the field {name}: {field.allowed}."
            decision = _WHICH_STANDARD if name == "correction" else None
            yield Finding("missing", message, name, sheet.rows.get(name), None, decision)


def ranges(sheet: Sheet) -> Iterator[Finding]:
    """Every number is in range; if it would be in another unit, the message says so."""
    values = sheet.given
    for name, low, high in _LIMITED:
        number = values.get(name)
        if number is None or low <= number <= high:  # type: ignore[operator]
            continue
        field, row = FIELDS[name], sheet.rows.get(name)
        if sheet.unit(name) == field.unit:
            yield _out_of_range(field, float(number), row)
            continue
        here, lowest, highest = (sheet.shown(name, float(one), 3) for one in (number, low, high))
        message = (
            f"{field.title} is {here}, which is out of range. Write a number from {lowest} to"
            f" {highest}."
        )
        yield Finding("out-of-range", message, name, row, here)


def pull_ranges(sheet: Sheet) -> Iterator[Finding]:
    """Every reading is in range."""
    for name in ("rpm", "torque", "power"):
        field = PULL_FIELDS[name]
        low, high = field.low or 0.0, field.high or 0.0
        for reading in sheet.readings:
            number = getattr(reading, name)
            if number is not None and not low <= number <= high:
                yield _out_of_range(field, number, reading.row)


def _out_of_range(field: Field, number: float, row: int | None) -> Finding:
    low, high = field.low or 0.0, field.high or 0.0
    problem = f"{field.title} is {field.quantity(number)}, which is out of range"
    for unit in _LEFT_OUT.get(field.unit, ()):
        if low <= convert(number, unit, field.unit) <= high:
            message = (
                f"{problem}. If you meant {unit}, write '{number:g} {unit}' (in a table you can"
                f" head the column '{field.name} ({unit})'); otherwise write {field.allowed}."
            )
            return Finding("unit-left-out", message, field.name, row, f"{number:g}")
    message = f"{problem}. Write {field.allowed}."
    return Finding("out-of-range", message, field.name, row, f"{number:g}")


def degrees(sheet: Sheet) -> Iterator[Finding]:
    """A temperature without a unit that is low for degF may be in degC."""
    for name, cold in (
        ("air_temperature", _COLD_AIR),
        ("coolant_temperature", _COLD_ENGINE),
        ("oil_temperature", _COLD_ENGINE),
    ):
        number = sheet.number(name)
        if name not in sheet.bare or number is None or not 5 <= number < cold:
            continue
        row, value = sheet.rows.get(name), f"{number:g}"
        message = (
            f"{FIELDS[name].title} is {value} without a unit. Write '{value} degC' or"
            f" '{value} degF'; degF was assumed."
        )
        yield Finding("unit-in-doubt", message, name, row, value)


def shop_named(sheet: Sheet) -> Iterator[Finding]:
    """A sheet to contribute names its shop."""
    if sheet.values.get("shop") is None:
        message = "Shop is missing. Add the field shop; only its code is shared."
        yield Finding("missing-shop", message, "shop")
