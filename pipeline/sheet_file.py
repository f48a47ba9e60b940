"""The sheet file: front matter between two --- lines, then the table of the pull."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

from pipeline import front_matter
from pipeline.headings import match
from pipeline.sheet import Cell, RawSheet, Table
from schemas.fields import FIELDS
from schemas.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

FENCE = "---"


def decode(path: Path) -> str:
    """Return a file's text: UTF-8, with or without a byte order mark.

    Raises
    ------
    UnreadableError
        The bytes are not UTF-8 text.

    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        msg = f"{path.name} is not UTF-8 text (byte {fault.start}); save it as UTF-8 and try again"
        raise UnreadableError(msg) from fault


class UnreadableError(ValueError):
    """A file that cannot be read as text or as a workbook."""

    @property
    def finding(self) -> Finding:
        """The finding that refuses the file."""
        return Finding("not-readable", str(self))


def has_front_matter(text: str) -> bool:
    """Tell whether the first line that is not blank is a fence."""
    return text.lstrip().split("\n", 1)[0].strip() == FENCE


def read(path: Path) -> RawSheet:
    """Read a sheet file; what is wrong with it becomes findings of the sheet."""
    sheet = RawSheet(path.stem, str(path))
    try:
        text = decode(path)
    except UnreadableError as fault:
        sheet.findings.append(fault.finding)
        return sheet
    lines = text.splitlines()
    fences = [i for i, line in enumerate(lines) if line.strip() == FENCE][:2]
    if not has_front_matter(text) or len(fences) < 2:
        message = f"{path.name} does not open with fields between two {FENCE} lines"
        sheet.findings.append(Finding("no-front-matter", message, row=1))
        return sheet
    first, last = fences
    add_fields(sheet, "\n".join(lines[first + 1 : last]), first + 2)
    sheet.table = read_table(lines[last + 1 :], last + 2)
    return sheet


def read_build(path: Path) -> RawSheet:
    """Read a build without a pull: a file of plain fields."""
    sheet = RawSheet(path.stem, str(path))
    try:
        add_fields(sheet, decode(path), 1)
    except UnreadableError as fault:
        sheet.findings.append(fault.finding)
    return sheet


def add_fields(sheet: RawSheet, text: str, first_row: int) -> None:
    """Add the fields of a YAML text to a sheet, with findings for what is not one."""
    try:
        for heading, value, row in front_matter.read(text, first_row):
            add_field(sheet, heading, value, row)
    except front_matter.FrontMatterError as fault:
        sheet.findings.append(fault.finding)
    named = sheet.fields.get("sheet_id")
    if named is not None and named.text.strip():
        sheet.sheet_id = named.text.strip()


def add_field(sheet: RawSheet, heading: str, text: str, row: int) -> None:
    """Add one field to a sheet, or the finding that says why not."""
    name, unit = match(heading, FIELDS)
    if name is None:
        message = f"{heading!r} is not a field of a sheet and was left out"
        sheet.findings.append(Finding("unknown-field", message, heading, row, text))
    elif name in sheet.fields:
        message = f"{name} is given twice, in rows {sheet.fields[name].row} and {row}; keep one"
        sheet.findings.append(Finding("repeated-field", message, name, row, text))
    else:
        sheet.fields[name] = Cell(text, row, unit)


def read_table(lines: list[str], first_row: int) -> Table | None:
    """Read comma-separated lines into a table; blank lines do not count.

    ``first_row`` is the row of the first line in the file.
    """
    reader = csv.reader(lines)
    rows: list[tuple[int, list[str]]] = []
    while True:
        row = first_row + reader.line_num
        try:
            cells = next(reader)
        except StopIteration:
            break
        if any(cell.strip() for cell in cells):
            rows.append((row, cells))
    return Table(rows[0][1], rows[1:]) if rows else None
