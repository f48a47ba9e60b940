"""Fields of a sheet as texts: each heading's field, and cells that say several things."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pullbook.pipeline.files import bounds, front_matter
from pullbook.pipeline.values.bare_numbers import left_out
from pullbook.pipeline.values.cells import CellError, parse
from pullbook.pipeline.values.sheet import SIGNATURE_FIELDS, Cell
from pullbook.pipeline.vocabulary import compound_cells
from pullbook.pipeline.vocabulary.units import scale
from pullbook.pipeline.vocabulary.words import is_missing
from pullbook.schemas.errors import did_you_mean
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import RawSheet


def add_fields(sheet: RawSheet, text: str, first_row: int) -> None:
    """Add the fields of a YAML text to a sheet, with findings for what cannot be read."""
    try:
        for heading, value, row in front_matter.read(text, first_row):
            add_field(sheet, heading, value, row)
    except front_matter.FrontMatterError as fault:
        sheet.findings.append(fault.finding)
    take_name(sheet)


def take_name(sheet: RawSheet) -> None:
    """Let a sheet have the name that its fields give it."""
    named = sheet.fields.get("sheet_id")
    if named is not None:
        if is_missing(named.text):
            del sheet.fields["sheet_id"]
        else:
            sheet.sheet_id = named.text.strip()


def add_field(sheet: RawSheet, heading: str, text: str, row: int) -> None:
    """Add one field to a sheet, or the fields of a cell that says several things."""
    named = sheet.headings.sheet(heading)
    most = bounds.REMARK if named.field == "notes" else bounds.CELL
    if len(heading) > bounds.HEADING or len(text) > most:
        what, size = ("value", most) if len(text) > most else ("heading", bounds.HEADING)
        message = f"The {what} in row {row} has more than {size} characters. Shorten it."
        code = "too-long" if named.field else "unknown-field"
        sheet.findings.append(Finding(code, message, named.field, row, text[: bounds.CELL]))
        return
    if named.field is None and heading in SIGNATURE_FIELDS:
        sheet.signature[heading] = text
        return
    if _is_cranking_pressure(named.field, text):
        message = f"{heading!r} {text.strip()!r} is a pressure, not a ratio; it was left out."
        sheet.findings.append(Finding("left-missing", message, named.field, row, text))
        return
    if parts := compound_cells.split(heading, named.field, text):
        _add_parts(sheet, heading, named.unit, parts, text, row)
        return
    name = named.field
    if name is None:
        sheet.findings.append(_unknown(heading, text, row))
        return
    if name in sheet.fields:
        first = sheet.fields[name]
        if not _same(name, first, Cell(text, row, named.unit)):
            message = (
                f"{FIELDS[name].title} is given twice, in rows {first.row} and {row}. Keep one."
            )
            sheet.findings.append(Finding("repeated-field", message, name, row, text))
        return
    if named.inferred and text.strip():
        message = f"Field {heading!r} was read as {name!r}."
        sheet.findings.append(Finding("read-as", message, name, row, heading))
    sheet.fields[name] = Cell(text, row, named.unit)


def _is_cranking_pressure(field: str | None, text: str) -> bool:
    """Return whether a compression is a pressure at the starter, which is no ratio."""
    found = _PRESSURE.fullmatch(text.strip()) if field == "compression_ratio" else None
    return found is not None


_PRESSURE = re.compile(r"[\d.,]+(?:\s*-\s*[\d.,]+)?\s*(?:psi|bar|kpa|lbs?)\.?", re.IGNORECASE)


def _unknown(heading: str, text: str, row: int) -> Finding:
    if compound_cells.is_compound(heading) and not is_missing(text):
        message = (
            f"{heading!r} is {text.strip()!r}, which could not be taken apart; it was left out."
            " Write its parts as fields of their own."
        )
        return Finding("left-missing", message, heading, row, text)
    near = did_you_mean(heading, FIELDS)
    message = f"{heading!r} is not a field of a sheet; it was left out.{near}"
    return Finding("unknown-field", message, heading, row, text)


def _add_parts(
    sheet: RawSheet, heading: str, unit: str | None, parts: dict[str, str], text: str, row: int
) -> None:
    """Add the fields of a cell that says several things; what is given by itself must agree."""
    read = ", ".join(f"{FIELDS[name].label} {part}" for name, part in parts.items())
    message = f"{heading!r} {text.strip()!r} was read as {read}."
    sheet.findings.append(Finding("read-as", message, next(iter(parts)), row, text))
    for name, part in parts.items():
        cell = Cell(part, row, unit)
        there = sheet.fields.get(name)
        if there is None or is_missing(there.text):
            sheet.fields[name] = cell
        elif not _same(name, there, cell):
            message = (
                f"{FIELDS[name].title} is {there.text.strip()!r} in row {there.row} and {part!r} in"
                f" row {row}. Correct the one that is wrong."
            )
            sheet.findings.append(Finding("repeated-field", message, name, row, part))


def _same(name: str, one: Cell, other: Cell) -> bool:
    """Return whether two cells of a field say the same; cells that cannot be read do not.

    A number without a unit says the same as another if it does in a unit that people leave out.
    """
    try:
        first, second = (parse(c.text, FIELDS[name], c.unit, c.row).value for c in (one, other))
    except CellError:
        return False
    if isinstance(first, int | float) and isinstance(second, int | float):
        scales = (1.0, *(scale(unit, FIELDS[name].unit)[0] for unit in left_out(name)))
        return any(abs(first * s - second) <= _NEAR * abs(second) for s in scales) or any(
            abs(second * s - first) <= _NEAR * abs(first) for s in scales
        )
    return first == second and first is not None


#: Numbers that differ by less, as a share, were rounded.
_NEAR = 0.003
