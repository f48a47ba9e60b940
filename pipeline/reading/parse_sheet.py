"""Parse the texts of a sheet into typed values; every fault becomes a finding."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from pullbook.pipeline.reading.sweeps import split_sweeps
from pullbook.pipeline.reading.table_layout import blocks
from pullbook.pipeline.values import numerals
from pullbook.pipeline.values.cells import CellError, is_missing, parse
from pullbook.pipeline.values.headings import squash
from pullbook.pipeline.values.sheet import Reading, Sheet
from pullbook.pipeline.values.units import UnknownUnitError, WrongUnitError, scale
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import FIELDS, PULL_FIELDS
from pullbook.schemas.findings import Finding

#: Cells that can show the decimal mark of a table.
_NUMERAL = re.compile(r"\s*[+-]?[\d.,'\u2019 ]+\s*")
_RUN = re.compile(r"\s*(?:run|pull|sweep|no\.?|#)\s*(\d+)\s*", re.IGNORECASE)
_MOST_FAULTS = 100

if TYPE_CHECKING:
    from pullbook.pipeline.reading.table_layout import Block
    from pullbook.pipeline.values.sheet import RawSheet
    from pullbook.schemas.field import Value


def typed(raw: RawSheet) -> Sheet:
    """Return a sheet with typed values; faults of its cells become findings."""
    findings = list(raw.findings)
    values: dict[str, Value] = {}
    bare = set()
    mark, of_table = _decimal_marks(raw)
    for name, cell in raw.fields.items():
        field = FIELDS[name]
        try:
            value, note = parse(cell.text, field, cell.unit, cell.row, mark)
        except CellError as error:
            findings.append(error.finding)
            continue
        if note is not None:
            findings.append(note)
        if value is not None:
            values[name] = value
            if field.unit and cell.unit is None and cell.text.strip()[-1:].isdigit():
                bare.add(name)
    values["sheet_id"] = raw.sheet_id
    columns: dict[str, str | None] = {}
    readings = [] if raw.table is None else _readings(raw, findings, of_table, columns)
    rows = {name: cell.row for name, cell in raw.fields.items()}
    return Sheet(
        sheet_id=raw.sheet_id,
        source=raw.source,
        values=values,
        readings=readings,
        findings=findings,
        rows=rows,
        bare=frozenset(bare),
        cells=raw.fields,
        columns=columns,
        signature=raw.signature,
        text=raw.text,
    )


def _decimal_marks(raw: RawSheet) -> tuple[str | None, str | None]:
    """Return the decimal marks of the fields and of the table.

    If one of them has commas and does not show what they mean, the mark of the other is used.
    """
    fields = [cell.text for name, cell in raw.fields.items() if FIELDS[name].numeric]
    table = [cell for _, cells in raw.table or () for cell in cells]
    in_fields, in_table = "," in "".join(fields), "," in "".join(table)
    if not in_fields and not in_table:
        return None, None
    numbers = [cell for cell in table if _NUMERAL.fullmatch(cell)]
    of_fields, of_table = numerals.decimal_mark(fields), numerals.decimal_mark(numbers)
    return (
        (of_fields or of_table) if in_fields else None,
        (of_table or of_fields) if in_table else None,
    )


def _readings(
    raw: RawSheet, findings: list[Finding], mark: str | None, columns: dict[str, str | None]
) -> list[Reading]:
    found, in_layout = blocks(raw.table or [], raw.headings)
    findings += [f for f in in_layout if squash(f.field or "") not in raw.ignored]
    readings: list[Reading] = []
    pulls: dict[str, int] = {}
    for block in found:
        for name, (place, unit) in block.columns.items():
            if unit is None and (meant := raw.units.get(name)) is not None:
                block.columns[name] = (place, meant)
                message = f"{PULL_FIELDS[name].title} is in {meant}, as your settings say."
                findings.append(Finding("from-settings", message, name, None, meant))
        columns |= {name: unit for name, (_, unit) in block.columns.items()}
        own = _read_block(block, findings, mark, pulls)
        if "pull" not in block.columns:
            own, in_sweeps = split_sweeps(own, block.number)
            findings += in_sweeps
        readings += own
    if pulls:
        names = ", ".join(repr(name) for name in list(pulls)[:5])
        message = f"Pulls {names} were numbered in the order of the file."
        findings.append(Finding("read-as", message, "pull", None, names))
    return readings


def _read_block(
    block: Block, findings: list[Finding], mark: str | None, pulls: dict[str, int]
) -> list[Reading]:
    columns = {name: _Column(name, unit) for name, (_, unit) in block.columns.items()}
    for name, (place, _) in block.columns.items():
        texts = [cells[place] if place < len(cells) else "" for _, cells in block.rows]
        if name == "pull":
            texts = _number_pulls(texts, pulls)
        columns[name].read(texts, block.rows, mark)
        findings += columns[name].findings
    nothing: list[float | None] = [None] * len(block.rows)
    rpm, torque, power, pull = (
        columns[name].numbers if name in columns else nothing
        for name in ("rpm", "torque", "power", "pull")
    )
    spoiled = set().union(*(column.spoiled for column in columns.values()))
    readings: list[Reading] = []
    for at, (row, _) in enumerate(block.rows):
        if row in spoiled:
            continue
        if torque[at] is None and power[at] is None:
            message = f"There is no torque and no power in row {row}; it was left out."
            findings.append(Finding("row-without-reading", message, "torque", row))
        elif (speed := rpm[at]) is None:
            message = f"The reading in row {row} has no rpm. Add it, or delete the reading."
            findings.append(Finding("missing-rpm", message, "rpm", row))
        else:
            number = int(pull[at] or block.number)
            readings.append(Reading(row, number, speed, torque[at], power[at]))
    return readings


def _number_pulls(texts: list[str], pulls: dict[str, int]) -> list[str]:
    """Return numbers for pulls with names such as A and B, and add new names to ``pulls``.

    A name also holds for the blank cells below it. The texts are returned unchanged if any of them
    is a number (a column of numbers), or if most rows have a name of their own (no pulls).
    """
    names: list[str] = []
    for text in texts:
        above = names[-1] if names else ""
        names.append(above if is_missing(text) else text.strip())
    given = [name for name in names if name]
    numbers = (numerals.plain(name) is not None or _RUN.fullmatch(name) for name in given)
    if any(numbers) or 2 * len(set(given)) > len(given):
        return texts
    return [str(pulls.setdefault(name, len(pulls) + 1)) if name else "" for name in names]


class _Column:
    """One column of a pull: parses its texts into numbers.

    Attributes
    ----------
    numbers
        One number per row; ``None`` for a blank cell or one that cannot be read.
    spoiled
        Rows whose cell cannot be read.
    findings
        Faults of its cells, and notes on how cells were read, one of each kind.
    """

    def __init__(self, name: str, unit: str | None) -> None:
        self._field, self._unit = PULL_FIELDS[name], unit
        self.numbers: list[float | None] = []
        self.spoiled: set[int] = set()
        self.findings: list[Finding] = []

    def read(self, texts: list[str], rows: list[tuple[int, list[str]]], mark: str | None) -> None:
        """Parse the cells; a column of plain numbers, as most are, is converted at once."""
        plain = self._plain(texts) if mark is None else None
        self.numbers = plain or [
            self._cell(text, row, mark) for text, (row, _) in zip(texts, rows, strict=True)
        ]

    def _plain(self, texts: list[str]) -> list[float | None] | None:
        try:
            slope, offset = scale(self._unit, self._field.unit)
            numbers = [slope * float(text) + offset for text in texts]
        except (ValueError, UnknownUnitError, WrongUnitError):
            return None
        whole = self._field.kind is not Kind.WHOLE or all(map(float.is_integer, numbers))
        valid = whole and all(map(math.isfinite, numbers)) and "_" not in "".join(texts)
        return list(numbers) if valid else None

    def _cell(self, text: str, row: int, mark: str | None) -> float | None:
        if len(self.findings) > _MOST_FAULTS:  # not a column of numbers; enough was reported
            self.spoiled.add(row)
            return None
        if self._field.name == "pull" and (numbered := _RUN.fullmatch(text)):
            text = numbered[1]
        try:
            value, note = parse(text, self._field, self._unit, row, mark)
        except CellError as error:
            self.findings.append(error.finding)
            self.spoiled.add(row)
            return None
        if note is not None and all(note.code != known.code for known in self.findings):
            self.findings.append(note)
        return None if value is None else float(value)
