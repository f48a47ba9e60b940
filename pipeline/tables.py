"""Many sheets as two tables: a row a build, and the pulls that name their sheet.

The tables come as csv files in one folder or as the tabs of a workbook.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from pipeline import sheet_file
from pipeline.headings import match
from pipeline.sheet import RawSheet, Table
from schemas.fields import FIELDS, PULL_FIELDS
from schemas.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

BUILDS = "builds"
PULLS = "pulls"


def read_folder(folder: Path) -> list[RawSheet]:
    """Read ``builds.csv`` and ``pulls.csv`` of a folder."""
    pulls = folder / f"{PULLS}.csv"
    try:
        builds_table = csv_table(folder / f"{BUILDS}.csv")
        pulls_table = csv_table(pulls) if pulls.is_file() else None
    except sheet_file.UnreadableError as fault:
        return [RawSheet(folder.name, str(folder), findings=[fault.finding])]
    return assemble(builds_table, pulls_table, str(folder / f"{BUILDS}.csv"))


def csv_table(path: Path) -> Table:
    """Return the table in a csv file; an empty file is an empty table."""
    return sheet_file.read_table(sheet_file.decode(path).splitlines(), 1) or Table([], [])


def read_workbook(path: Path) -> list[RawSheet]:
    """Read the tabs ``builds`` and ``pulls`` of a workbook."""
    from pipeline import workbook  # noqa: PLC0415 - openpyxl is for those who bring workbooks

    try:
        tabs = workbook.read(path)
    except sheet_file.UnreadableError as fault:
        return [RawSheet(path.stem, str(path), findings=[fault.finding])]
    if BUILDS not in tabs:
        message = f"{path.name} has no tab named {BUILDS}"
        return [RawSheet(path.stem, str(path), findings=[Finding("not-readable", message)])]
    return assemble(tabs[BUILDS], tabs.get(PULLS), str(path))


def assemble(builds: Table, pulls: Table | None, source: str) -> list[RawSheet]:
    """Bring builds and their pulls together.

    Parameters
    ----------
    builds
        A row a sheet.
    pulls
        Rows that name their sheet, or ``None``: the sheets are then builds alone.
    source
        The file, for findings.

    Returns
    -------
    A sheet for every row of ``builds``, and one for every name that only ``pulls`` has.

    """
    sheets = [_build(builds.headings, row, cells, source) for row, cells in builds.rows]
    counts = Counter(sheet.sheet_id for sheet in sheets)
    for sheet in sheets:
        if counts[sheet.sheet_id] > 1:
            message = f"{counts[sheet.sheet_id]} rows are named {sheet.sheet_id!r}; name each once"
            row = sheet.fields["sheet_id"].row if "sheet_id" in sheet.fields else None
            sheet.findings.append(
                Finding("repeated-field", message, "sheet_id", row, sheet.sheet_id)
            )
    tables = {} if pulls is None else _split(pulls)
    for sheet in sheets:
        sheet.table = tables.pop(sheet.sheet_id, None)
    return sheets + [_orphan(name, table, source) for name, table in tables.items()]


def _build(headings: list[str], row: int, cells: list[str], source: str) -> RawSheet:
    sheet = RawSheet(f"row {row}", source)
    for heading, text in zip(headings, cells, strict=False):
        if heading.strip() and (text.strip() or match(heading, FIELDS)[0]):
            sheet_file.add_field(sheet, heading, text, row)
    if not (named := sheet.fields.get("sheet_id")) or not named.text.strip():
        message = f"row {row} of the builds has no sheet_id; give every build a name"
        sheet.findings.append(Finding("missing", message, "sheet_id", row))
    else:
        sheet.sheet_id = named.text.strip()
    return sheet


def _split(pulls: Table) -> dict[str, Table]:
    """Take the pulls apart by sheet; a row that names none belongs to the name ''."""
    known = {**PULL_FIELDS, "sheet_id": FIELDS["sheet_id"]}
    at = [i for i, heading in enumerate(pulls.headings) if match(heading, known)[0] == "sheet_id"]
    column = at[0] if at else None
    headings = [heading for i, heading in enumerate(pulls.headings) if i != column]
    tables: dict[str, Table] = {}
    for row, cells in pulls.rows:
        named = column is not None and column < len(cells)
        name = cells[column].strip() if named and column is not None else ""
        rest = [cell for i, cell in enumerate(cells) if i != column]
        tables.setdefault(name, Table(headings, [])).rows.append((row, rest))
    return tables


def _orphan(name: str, table: Table, source: str) -> RawSheet:
    row = table.rows[0][0]
    message = (
        f"the pulls from row {row} name the sheet {name!r}, which the builds do not have"
        if name
        else f"the pulls from row {row} do not name their sheet; add a column sheet_id"
    )
    orphan = RawSheet(name or f"row {row}", source, table=table)
    orphan.findings.append(Finding("pull-without-build", message, "sheet_id", row, name))
    return orphan
