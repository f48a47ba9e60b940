"""From text to typed values: every cell read, every fault recorded, nothing blanked in silence."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pipeline import numerals
from pipeline.cells import CellError, is_missing, parse
from pipeline.layout import blocks
from pipeline.sheet import Reading, Sheet
from pipeline.sweeps import apart
from pipeline.units import UnknownUnitError, WrongUnitError, scale
from schemas.fields import FIELDS, PULL_FIELDS
from schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pipeline.layout import Block
    from pipeline.sheet import RawSheet
    from schemas.fields import Value


def typed(raw: RawSheet) -> Sheet:
    """Return the typed sheet of a sheet as read; faults of its cells become findings."""
    findings = list(raw.findings)
    values: dict[str, Value] = {}
    bare = set()
    mark, of_table = _decimal_marks(raw)
    for name, cell in raw.fields.items():
        field = FIELDS[name]
        try:
            value, note = parse(cell.text, field, cell.unit, cell.row, mark)
        except CellError as fault:
            findings.append(fault.finding)
            continue
        if note is not None:
            findings.append(note)
        if value is not None:
            values[name] = value
            if field.unit and cell.unit is None and cell.text.strip()[-1:].isdigit():
                bare.add(name)
    values["sheet_id"] = raw.sheet_id
    readings = [] if raw.table is None else _readings(raw, findings, of_table)
    rows = {name: cell.row for name, cell in raw.fields.items()}
    return Sheet(raw.sheet_id, raw.source, values, readings, findings, rows, frozenset(bare))


def _decimal_marks(raw: RawSheet) -> tuple[str | None, str | None]:
    """Return the decimal marks that fields and table show; each stands in for the other."""
    fields = [cell.text for name, cell in raw.fields.items() if FIELDS[name].numeric]
    table = [cell for _, cells in raw.table or () for cell in cells]
    if not any("," in text for text in fields) and not any("," in text for text in table):
        return None, None
    of_fields, of_table = numerals.decimal_mark(fields), numerals.decimal_mark(table)
    return of_fields or of_table, of_table or of_fields


def _readings(raw: RawSheet, findings: list[Finding], mark: str | None) -> list[Reading]:
    found, told = blocks(raw.table or [], raw.headings)
    findings += told
    readings: list[Reading] = []
    for block in found:
        own = _of_block(block, findings, mark)
        if "pull" not in block.columns:
            own, told = apart(own, block.number)
            findings += told
        readings += own
    return readings


def _of_block(block: Block, findings: list[Finding], mark: str | None) -> list[Reading]:
    readings: list[Reading] = []
    noted: set[tuple[str, str]] = set()
    cells_of = [
        (name, place, _reader(name, unit, mark)) for name, (place, unit) in block.columns.items()
    ]
    for row, cells in block.rows:
        numbers: dict[str, float | None] = {}
        spoiled = False
        for name, place, read in cells_of:
            text = cells[place] if place < len(cells) else ""
            try:
                number, note = read(text, row)
            except CellError as fault:
                findings.append(fault.finding)
                spoiled = True
                continue
            numbers[name] = number
            if note is not None and (note.code, name) not in noted:
                noted.add((note.code, name))
                findings.append(note)
        if not spoiled:
            readings += _reading(numbers, row, block.number, findings)
    return readings


def _reader(
    name: str, unit: str | None, mark: str | None
) -> Callable[[str, int], tuple[float | None, Finding | None]]:
    """Return what reads the cells of one column; a plain number takes the short way."""
    field = PULL_FIELDS[name]
    try:
        slope, offset = scale(unit, field.unit)
    except (UnknownUnitError, WrongUnitError):
        slope, offset = math.nan, math.nan  # the cell says so

    def read(text: str, row: int) -> tuple[float | None, Finding | None]:
        if mark is None and (number := numerals.plain(text)) is not None:
            number = slope * number + offset
            if math.isfinite(number) and (name != "pull" or number.is_integer()):
                return number, None
        if is_missing(text):
            return None, None
        value, note = parse(text, field, unit, row, mark)
        return float(value), note  # type: ignore[arg-type]  # columns of a pull are numbers

    return read


def _reading(
    numbers: dict[str, float | None], row: int, pull: int, findings: list[Finding]
) -> Iterator[Reading]:
    rpm, torque, power = (numbers.get(name) for name in ("rpm", "torque", "power"))
    if torque is None and power is None:
        message = f"row {row} has neither torque nor power and was left out"
        findings.append(Finding("row-without-reading", message, "torque", row))
    elif rpm is None:
        findings.append(Finding("missing-rpm", f"row {row} of the pull has no rpm", "rpm", row))
    else:
        yield Reading(row, int(numbers.get("pull") or pull), rpm, torque, power)
