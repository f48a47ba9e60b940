"""Many sheets as two tables: a row a build, and the pulls that name their sheet.

The tables come as csv files in one folder or as the tabs of a workbook.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from pullbook.pipeline.reading import sheet_file, text_file
from pullbook.pipeline.values import numerals
from pullbook.pipeline.values.cells import is_missing
from pullbook.pipeline.values.headings import PLAIN, squash
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.pipeline.values.units import known
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pullbook.pipeline.values.headings import Headings, Named

    Row = tuple[int, list[str]]

BUILDS = "builds"
PULLS = "pulls"
_MOST_ROWS = 20_000_000


def read_folder(folder: Path, headings: Headings = PLAIN) -> list[RawSheet]:
    """Read ``builds.csv`` and ``pulls.csv`` of a folder."""
    path, pulls = table_in(folder, BUILDS), table_in(folder, PULLS)
    try:
        builds, notes = csv_table(path or folder / f"{BUILDS}.csv", headings.sheet)
        of_pulls, more = csv_table(pulls, headings.pulls) if pulls else (None, [])
    except text_file.UnreadableError as fault:
        return [RawSheet(folder.name, str(folder), findings=[fault.finding])]
    return assemble(builds, of_pulls, str(path), headings, notes + more)


def table_in(folder: Path, name: str) -> Path | None:
    """Return the csv file of a folder that has such a name, however it is capitalised."""
    wanted = f"{name}.csv"
    if (path := folder / wanted).exists():
        return path
    return next((p for p in sorted(folder.iterdir()) if p.name.casefold() == wanted), None)


def csv_table(path: Path, named: Callable[[str], Named]) -> tuple[list[Row], list[Finding]]:
    """Return the rows of a csv file, and what was inferred of the file.

    Raises
    ------
    UnreadableError
        The file cannot be read as text.

    """
    text, notes = text_file.read(path, text_file.TABLE_BYTES)
    return sheet_file.rows_of(text.split("\n"), 1, named, _MOST_ROWS), notes


def read_workbook(path: Path, headings: Headings = PLAIN) -> list[RawSheet]:
    """Read the tabs ``builds`` and ``pulls`` of a workbook."""
    from pullbook.pipeline.reading import workbook  # noqa: PLC0415 - openpyxl is for those who bring workbooks

    try:
        tabs, notes = workbook.read(path, (BUILDS, PULLS))
    except text_file.UnreadableError as fault:
        return [RawSheet(path.stem, str(path), findings=[fault.finding])]
    if BUILDS not in tabs:
        message = f"{path.name} has no tab named {BUILDS}"
        return [RawSheet(path.stem, str(path), findings=[Finding("not-readable", message)])]
    return assemble(tabs[BUILDS], tabs.get(PULLS), str(path), headings, notes)


def assemble(
    builds: list[Row],
    pulls: list[Row] | None,
    source: str,
    headings: Headings = PLAIN,
    notes: list[Finding] | None = None,
) -> list[RawSheet]:
    """Bring builds and their pulls together.

    Parameters
    ----------
    builds
        Headings, perhaps a row of units, and a row a sheet; text above the headings is left out.
    pulls
        Rows that name their sheet, or ``None``: the sheets are then builds alone.
    source
        The file, for findings.
    headings
        What headings mean.
    notes
        What was inferred of the files; every sheet carries it.

    Returns
    -------
    A sheet for every row of ``builds``, and one for every name that only ``pulls`` has.

    """
    names, units, body = _headed(builds, headings.sheet, 2)
    sheets = [_build(names, units, row, cells, source, headings) for row, cells in body]
    counts = Counter(sheet.sheet_id for sheet in sheets)
    for sheet in sheets:
        if counts[sheet.sheet_id] > 1:
            message = f"{counts[sheet.sheet_id]} rows are named {sheet.sheet_id!r}; name each once"
            row = sheet.fields["sheet_id"].row if "sheet_id" in sheet.fields else None
            sheet.findings.append(
                Finding("repeated-field", message, "sheet_id", row, sheet.sheet_id)
            )
    tables = {} if pulls is None else _split(pulls, headings)
    for sheet in sheets:
        sheet.table = tables.pop(sheet.sheet_id, None)
        sheet.findings += notes or []
    names_ = [sheet.sheet_id for sheet in sheets]
    return sheets + [_orphan(name, table, source, names_) for name, table in tables.items()]


def _headed(
    rows: list[Row], named: Callable[[str], Named], least: int
) -> tuple[list[str], list[str], list[Row]]:
    """Return the headings of a table of builds, the units below them if any, and the rest."""
    for at, (_, cells) in enumerate(rows):
        found = [named(cell).field for cell in cells]
        if sum(name is not None for name in found) >= min(least, len(cells)):
            below = rows[at + 1][1] if at + 1 < len(rows) else []
            if _are_units(found, below):
                return cells, below, rows[at + 2 :]
            return cells, [], rows[at + 1 :]
    return (rows[0][1], [], rows[1:]) if rows else ([], [], [])


def _are_units(fields: list[str | None], cells: list[str]) -> bool:
    """Tell whether a row gives units below headings: at least one is known, and no number."""
    said = [
        (name, _bare(cell))
        for name, cell in zip(fields, cells, strict=False)
        if name is not None and FIELDS[name].numeric and not is_missing(_bare(cell))
    ]
    numbers = any(numerals.plain(text) is not None for _, text in said)
    return not numbers and any(known(text, FIELDS[str(name)].unit) for name, text in said)


def _bare(unit: str) -> str:
    return unit.strip().strip("()[]")


def _build(
    names: list[str], units: list[str], row: int, cells: list[str], source: str, headings: Headings
) -> RawSheet:
    sheet = RawSheet(f"row {row}", source, headings=headings)
    for place, text in enumerate(cells):
        heading = names[place].strip() if place < len(names) else ""
        if heading and (text.strip() or headings.sheet(heading).field):
            sheet_file.add_field(sheet, heading, text, row)
            if place < len(units) and not is_missing(_bare(units[place])):
                _state(sheet, headings.sheet(heading).field, _bare(units[place]))
        elif text.strip():
            message = f"row {row} has a cell {text.strip()!r} that stands under no heading"
            code = "more-cells-than-headings" if place >= len(names) else "unknown-column"
            sheet.findings.append(Finding(code, message, None, row, text.strip()))
    if not (named := sheet.fields.get("sheet_id")) or is_missing(named.text):
        message = f"row {row} of the builds has no sheet_id; give every build a name"
        sheet.findings.append(Finding("missing", message, "sheet_id", row))
    else:
        sheet.sheet_id = named.text.strip()
    if any(units):
        message = f"the row below the headings was read as units: {', '.join(filter(None, units))}"
        sheet.findings.append(Finding("unit-row", message, None, row))
    return sheet


def _state(sheet: RawSheet, field: str | None, unit: str) -> None:
    """Give a cell the unit that stands below its heading, where the heading names none."""
    if field is not None and (cell := sheet.fields.get(field)) is not None:
        cell.unit = cell.unit or unit


def _split(pulls: list[Row], headings: Headings) -> dict[str, list[Row]]:
    """Take the pulls apart by sheet, each under the headings above its rows; '' names no sheet.

    A table that was put together from several repeats its headings, maybe with other units.
    """
    tables: dict[str, list[Row]] = {}
    head: list[Row] = []
    under: dict[str, int] = {}  # the row of the headings that each sheet's rows stand under
    column: int | None = None
    for row, cells in pulls:
        fields = [headings.pulls(cell).field for cell in cells]
        if "rpm" in fields and ("sheet_id" in fields or not head):
            column = fields.index("sheet_id") if "sheet_id" in fields else None
            head = [(row, _without(cells, column))]
            continue
        if len(head) == 1 and head[0][0] not in under.values() and _below_headings(cells, column):
            head.append((row, _without(cells, column)))
            continue
        named = column is not None and column < len(cells)
        name = cells[column].strip() if named and column is not None else ""
        if head and under.get(name) != head[0][0]:
            under[name] = head[0][0]
            tables.setdefault(name, []).extend(head)
        tables.setdefault(name, []).append((row, _without(cells, column)))
    return tables


def _below_headings(cells: list[str], column: int | None) -> bool:
    """Tell whether the first row below headings holds their units: it has no number."""
    named = column is not None and column < len(cells) and not is_missing(cells[column])
    texts = [cell for at, cell in enumerate(cells) if at != column and cell.strip()]
    return bool(texts) and not named and all(numerals.plain(t.strip()) is None for t in texts)


def _loosely(name: str) -> str:
    return squash(name).lstrip("0")


def _without(cells: list[str], column: int | None) -> list[str]:
    return cells if column is None else cells[:column] + cells[column + 1 :]


def _orphan(name: str, table: list[Row], source: str, names: list[str]) -> RawSheet:
    row = table[-1][0]
    near = [n for n in names if _loosely(n) == _loosely(name)]
    hint = f"; is {near[0]!r} meant?" if near else ""
    message = (
        f"the pulls in row {row} name the sheet {name!r}, which the builds do not have{hint}"
        if name
        else f"the pulls in row {row} do not name their sheet; add a column sheet_id"
    )
    orphan = RawSheet(name or f"row {row}", source, table=table)
    orphan.findings.append(Finding("pull-without-build", message, "sheet_id", row, name))
    return orphan
