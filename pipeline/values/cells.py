"""Parse the text of one cell into a typed value, or into a finding that says what is wrong."""

from __future__ import annotations

import datetime as dt
import math
import re
from types import MappingProxyType
from typing import TYPE_CHECKING

from pullbook.pipeline.values import numerals
from pullbook.pipeline.values.headings import squash
from pullbook.pipeline.values.units import UnknownUnitError, WrongUnitError, scale
from pullbook.schemas.errors import InputError
from pullbook.schemas.field import Kind
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.field import Field, Value

MISSING = frozenset(
    {"", "na", "n/a", "-", "?", "unknown", "nan", "null", "none", "~", "#n/a", "n.a.", "--", "---"}
)
_DATE = re.compile(r"(\d{4})(?:-\d{2}-\d{2}(?:[T ]\d{1,2}:\d{2}[\d:.+Z-]*)?)?", re.ASCII)
_YEARS = range(1900, 2101)
FLAGS = MappingProxyType(
    {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False,
     "0": False, "none": False, "without": False}
)  # fmt: skip

#: Customary words for choices, as `squash` returns them: common practice, no source.
CUSTOMARY: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "correction": {
            "uncorrected": "observed", "raw": "observed", "asmeasured": "observed",
            "j1349": "SAE J1349", "j607": "SAE J607", "stp": "SAE J607", "din": "DIN 70020",
            "iso": "ISO 1585",
        },
        "fuel": {"petrol": "gasoline", "lpg": "propane"},
        "fuel_metering": {"carburettor": "carburetor", "carb": "carburetor",
                          "tbi": "throttle-body injection", "pfi": "port injection"},
        "aspiration": {"naturallyaspirated": "natural", "turbo": "turbocharged",
                       "supercharger": "supercharged", "turbocharger": "turbocharged"},
        "arrangement": {"v": "vee", "straight": "inline", "opposed": "flat", "boxer": "flat"},
        "lifter": {"ohc": "overhead cam", "dohc": "overhead cam", "sohc": "overhead cam"},
        "exhaust_type": {"longtube": "long-tube header", "longtubeheaders": "long-tube header",
                         "shorty": "shorty header", "shortyheaders": "shorty header",
                         "manifold": "cast manifold"},
    }
)  # fmt: skip


def is_missing(text: str) -> bool:
    """Return whether a cell means that the value is not known.

    >>> is_missing(" N/A "), is_missing("0")
    (True, False)
    """
    return text.strip().casefold() in MISSING


class CellError(InputError):
    """A cell that cannot be parsed; ``finding`` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


def parse(
    text: str,
    field: Field,
    unit: str | None = None,
    row: int | None = None,
    mark: str | None = None,
) -> tuple[Value, Finding | None]:
    """Return the value of a cell, and a note if the text had to be interpreted.

    Parameters
    ----------
    text
        The cell as written.
    field
        The field it belongs to.
    unit
        The unit in its heading, if any; a unit in the cell itself takes precedence.
    row
        The row in the file, counted from 1, for findings.
    mark
        The decimal mark of the sheet, as `numerals.decimal_mark` found it.

    Raises
    ------
    CellError
        The text is not a value of the field.

    """
    text = text.strip()
    if field.kind is Kind.NUMBER and mark is None and unit is None:
        number = numerals.plain(text)
        if number is not None and math.isfinite(number):
            return number, None
    if is_missing(text) and not (field.kind is Kind.FLAG and text.casefold() in FLAGS):
        return None, None
    return _parse_kind(text, field, unit, row, mark)


def _parse_kind(
    text: str, field: Field, unit: str | None, row: int | None, mark: str | None
) -> tuple[Value, Finding | None]:
    match field.kind:
        case Kind.TEXT:
            return text, None
        case Kind.FLAG:
            return _parse_flag(text, field, row), None
        case Kind.DATE:
            return _parse_year(text, field, row), None
        case Kind.CHOICE:
            return _parse_choice(text, field, row)
        case _:
            return _parse_number(text, field, unit, row, mark)


def _cell_error(field: Field, row: int | None, text: str, code: str, message: str) -> CellError:
    return CellError(Finding(code, message, field.name, row, text))


def _parse_flag(text: str, field: Field, row: int | None) -> bool:
    try:
        return FLAGS[text.casefold()]
    except KeyError:
        message = f"{field.title} is {text!r}. Write yes or no."
        raise _cell_error(field, row, text, "not-yes-or-no", message) from None


def _parse_year(text: str, field: Field, row: int | None) -> int:
    found = _DATE.fullmatch(text)
    if found is None or int(found[1]) not in _YEARS or not _is_date(text[:10]):
        message = f"{field.title} is {text!r}. Write a date such as 2024-05-31, or just the year."
        raise _cell_error(field, row, text, "not-a-date", message)
    return int(found[1])


def _is_date(text: str) -> bool:
    """Return whether a text is a year, or a date of the calendar."""
    try:
        return len(text) == len("2024") or bool(dt.date.fromisoformat(text))
    except ValueError:
        return False


def _parse_choice(text: str, field: Field, row: int | None) -> tuple[str, Finding | None]:
    if text in field.choices:
        return text, None
    short = squash(text)
    for choice in field.choices:
        if squash(choice) == short:
            return choice, None
    customary = CUSTOMARY.get(field.name, {}).get(short)
    if customary is None:
        message = f"{field.title} is {text!r}. Choose one of: {field.allowed}."
        raise _cell_error(field, row, text, "not-a-choice", message)
    note = f"{field.title} {text!r} was read as {customary!r}."
    return customary, Finding("read-as", note, field.name, row, text)


def _parse_number(
    text: str, field: Field, unit: str | None, row: int | None, mark: str | None
) -> tuple[float | int, Finding | None]:
    found = numerals.read(text, mark)
    if found is None or not all(map(math.isfinite, found.readings)):
        point = ", with a point for decimals" if field.kind is Kind.NUMBER else ""
        message = f"{field.title} is {text!r}, which is not a number. Write {field.allowed}{point}."
        raise _cell_error(field, row, text, "not-a-number", message)
    try:
        slope, offset = scale(found.rest.strip() or unit, field.unit)
    except (UnknownUnitError, WrongUnitError) as error:
        code = "unknown-unit" if isinstance(error, UnknownUnitError) else "wrong-unit"
        message = f"{field.title} is {text!r}: {error}. Write {field.allowed}."
        raise _cell_error(field, row, text, code, message) from None
    numbers = [slope * reading + offset for reading in found.readings]
    if len(numbers) > 1 and field.low is not None and field.high is not None:
        numbers = [n for n in numbers if field.low <= n <= field.high] or numbers
    number = numbers[0]
    if len(numbers) > 1:
        message = (
            f"{field.title} is {text!r}: the comma could mean decimals or thousands. Write a point"
            " for decimals and nothing between thousands."
        )
        raise _cell_error(field, row, text, "ambiguous-number", message)
    if field.kind is Kind.WHOLE:
        if number != round(number):
            message = f"{field.title} is {text!r}. Write {field.allowed}."
            raise _cell_error(field, row, text, "not-whole", message)
        number = round(number)
    if found.note is None:
        return number, None
    message = f"{field.title} {text!r} was read as {field.quantity(number, 10)}."
    return number, Finding(found.note, message, field.name, row, text)
