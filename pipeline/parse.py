"""From text to typed values: every cell read, every fault recorded, nothing blanked in silence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.cells import CellError, is_missing, parse
from pipeline.headings import match
from pipeline.sheet import Reading, Sheet
from schemas.fields import FIELDS, PULL_FIELDS
from schemas.findings import Finding

if TYPE_CHECKING:
    from pipeline.sheet import RawSheet, Table
    from schemas.fields import Value


def typed(raw: RawSheet) -> Sheet:
    """Return the typed sheet of a sheet as read; faults of its cells become findings."""
    findings = list(raw.findings)
    values: dict[str, Value] = {}
    for name, cell in raw.fields.items():
        try:
            value, note = parse(cell.text, FIELDS[name], cell.unit, cell.row)
        except CellError as fault:
            findings.append(fault.finding)
            continue
        if note is not None:
            findings.append(note)
        if value is not None:
            values[name] = value
    values["sheet_id"] = raw.sheet_id
    readings = [] if raw.table is None else _readings(raw.table, findings)
    rows = {name: cell.row for name, cell in raw.fields.items()}
    return Sheet(raw.sheet_id, raw.source, values, readings, findings, rows)


def _columns(table: Table, findings: list[Finding]) -> dict[str, tuple[int, str | None]]:
    """Return position and unit of each known column of a pull."""
    columns: dict[str, tuple[int, str | None]] = {}
    for position, heading in enumerate(table.headings):
        if not heading.strip():
            continue
        name, unit = match(heading, PULL_FIELDS)
        if name is None:
            message = f"the column {heading!r} is not one of a pull and was left out"
            findings.append(Finding("unknown-column", message, heading))
        elif name in columns:
            message = f"the column {name} occurs twice in the pull; keep one"
            findings.append(Finding("repeated-field", message, name))
        else:
            columns[name] = (position, unit)
    return columns


def _readings(table: Table, findings: list[Finding]) -> list[Reading]:
    columns = _columns(table, findings)
    readings = []
    for row, cells in table.rows:
        numbers, faults = _row(columns, row, cells)
        findings += faults
        if faults:
            continue
        if numbers["torque"] is None and numbers["power"] is None:
            message = f"row {row} has neither torque nor power and was left out"
            findings.append(Finding("row-without-reading", message, "torque", row))
        elif numbers["rpm"] is None:
            message = f"row {row} of the pull has no rpm"
            findings.append(Finding("missing-rpm", message, "rpm", row))
        else:
            pull = int(numbers["pull"] or 0)
            readings.append(Reading(row, pull, numbers["rpm"], numbers["torque"], numbers["power"]))
    return readings


def _row(
    columns: dict[str, tuple[int, str | None]], row: int, cells: list[str]
) -> tuple[dict[str, float | None], list[Finding]]:
    numbers: dict[str, float | None] = dict.fromkeys(PULL_FIELDS)
    faults = []
    for name, (position, unit) in columns.items():
        text = cells[position] if position < len(cells) else ""
        if is_missing(text):
            continue
        try:
            value, _ = parse(text, PULL_FIELDS[name], unit, row)
        except CellError as fault:
            faults.append(fault.finding)
        else:
            numbers[name] = float(value)  # type: ignore[arg-type]  # columns of a pull are numbers
    return numbers, faults
