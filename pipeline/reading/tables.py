"""Read many sheets from two tables: one row per build, and the pulls with their sheet's name.

The tables are csv files in one folder or tabs of a workbook.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from pullbook.pipeline.files import bounds, text_file, text_rows, workbook
from pullbook.pipeline.layout import document, engine_rows
from pullbook.pipeline.layout.raw_fields import add_field
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.headings import PLAIN, squash
from pullbook.pipeline.vocabulary.units import known
from pullbook.pipeline.vocabulary.words import is_missing
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pullbook.pipeline.vocabulary.headings import Headings, Named

    Row = tuple[int, list[str]]

BUILDS, PULLS = "builds", "pulls"
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
    """Return the csv file of that name in a folder, in capitals or small letters."""
    wanted = f"{name}.csv"
    if (path := folder / wanted).exists():
        return path
    return next((p for p in sorted(folder.iterdir()) if p.name.casefold() == wanted), None)


def csv_table(path: Path, named: Callable[[str], Named]) -> tuple[list[Row], list[Finding]]:
    """Return the rows of a csv file, and notes on how it was read.

    Raises
    ------
    UnreadableError
        The file cannot be read as text.

    """
    text, notes = text_file.read(path, text_file.TABLE_BYTES)
    bounds.check_lines(text, path.name)
    return text_rows.rows_of(text.split("\n"), 1, named, _MOST_ROWS), notes


def read_workbook(path: Path, headings: Headings = PLAIN) -> list[RawSheet]:
    """Read a workbook: the tabs ``builds`` and ``pulls``, or whatever tabs hold sheets."""
    try:
        tabs, notes = workbook.read(path)
    except text_file.UnreadableError as fault:
        return [RawSheet(path.stem, str(path), findings=[fault.finding])]
    named = {title.strip().casefold(): title for title in tabs}
    if BUILDS in named:
        return _of_named_tabs(tabs, named, str(path), headings, notes)
    sheets = []
    for title, rows in _one_build(tabs, headings).items():
        name = path.stem if len(tabs) == 1 else f"{path.stem}-{title.strip()}"
        own = document.sheets_of(rows, str(path), name, headings)
        if any(sheet.fields for sheet in own):
            sheets += document.number(own, name)
    if not sheets:
        message = (
            f"No tab of {path.name} holds a sheet: labels of the engine above a table with rpm. Or"
            f" name two tabs {BUILDS} and {PULLS}."
        )
        return [RawSheet(path.stem, str(path), findings=[*notes, Finding("not-readable", message)])]
    for sheet in sheets:
        sheet.findings += notes
    return sheets


def _one_build(tabs: dict[str, list[Row]], headings: Headings) -> dict[str, list[Row]]:
    """Return tabs, those of pulls alone put below the only one that describes a build.

    The title of each then stands above its table, as it may say what the numbers are in.
    """
    with_pull = [title for title, rows in tabs.items() if document.has_pull_rows(rows, headings)]
    builds = [
        title
        for title, rows in tabs.items()
        if any(sheet.fields for sheet in document.sheets_of(rows, "", "", headings))
    ]
    if len(builds) != 1 or builds[0] in with_pull or not with_pull:
        return tabs
    below = [row for title in with_pull for row in [(0, [title]), *tabs[title]]]
    return {builds[0]: [*tabs[builds[0]], *below]}


def _of_named_tabs(
    tabs: dict[str, list[Row]],
    named: dict[str, str],
    source: str,
    headings: Headings,
    notes: list[Finding],
) -> list[RawSheet]:
    """Return the sheets of the tab ``builds``, with the pulls of one tab or of a tab each."""
    builds = tabs[named[BUILDS]]
    if PULLS in named:
        return assemble(builds, tabs[named[PULLS]], source, headings, notes)
    sheets = assemble(builds, None, source, headings, notes)
    for sheet in sheets:
        own = named.get(sheet.sheet_id.casefold())
        if own is not None and own != named[BUILDS]:
            sheet.table = tabs[own]
    return sheets


def assemble(
    builds: list[Row],
    pulls: list[Row] | None,
    source: str,
    headings: Headings = PLAIN,
    notes: list[Finding] | None = None,
) -> list[RawSheet]:
    """Put builds and their pulls together.

    Parameters
    ----------
    builds
        Headings, perhaps a row of units, and one row per sheet; text above the headings is left
        out.
    pulls
        Rows with the name of their sheet, or ``None`` for builds without pulls.
    source
        The file, for findings.
    headings
        The headings that are understood.
    notes
        Notes on how the files were read; they are added to every sheet.

    Returns
    -------
    One sheet for every row of ``builds``, and one for every name that only ``pulls`` has.

    """
    if pulls is None and (found := engine_rows.sheets_of(builds, source, headings)) is not None:
        return found
    names, units, body = _split_headings(builds, headings.sheet, 2)
    sheets = [_read_row(names, units, row, cells, source, headings) for row, cells in body]
    counts = Counter(sheet.sheet_id for sheet in sheets)
    for sheet in sheets:
        if counts[sheet.sheet_id] > 1:
            message = (
                f"{counts[sheet.sheet_id]} rows have the sheet ID {sheet.sheet_id!r}. Give each row"
                " its own."
            )
            row = sheet.fields["sheet_id"].row if "sheet_id" in sheet.fields else None
            sheet.findings.append(
                Finding("repeated-field", message, "sheet_id", row, sheet.sheet_id)
            )
    tables = {} if pulls is None else _split_pulls(pulls, headings)
    for sheet in sheets:
        sheet.table = tables.pop(sheet.sheet_id, None)
        sheet.findings += notes or []
    known = {_simplify(sheet.sheet_id): sheet.sheet_id for sheet in reversed(sheets)}
    return sheets + [_report_orphan(name, rows, source, known) for name, rows in tables.items()]


def _split_headings(
    rows: list[Row], named: Callable[[str], Named], least: int
) -> tuple[list[str], list[str], list[Row]]:
    """Return the headings of a table of builds, the units below them if any, and the other rows."""
    for at, (_, cells) in enumerate(rows):
        found = [named(cell).field for cell in cells]
        if sum(name is not None for name in found) >= min(least, len(cells)):
            below = rows[at + 1][1] if at + 1 < len(rows) else []
            if _are_units(found, below):
                return cells, below, rows[at + 2 :]
            return cells, [], rows[at + 1 :]
    return (rows[0][1], [], rows[1:]) if rows else ([], [], [])


def _are_units(fields: list[str | None], cells: list[str]) -> bool:
    """Return whether a row gives the units of headings: one known unit, and no number."""
    given = [
        (name, _strip_brackets(cell))
        for name, cell in zip(fields, cells, strict=False)
        if name is not None and FIELDS[name].numeric and not is_missing(_strip_brackets(cell))
    ]
    numbers = any(numerals.plain(text) is not None for _, text in given)
    return not numbers and any(known(text, FIELDS[str(name)].unit) for name, text in given)


def _strip_brackets(unit: str) -> str:
    return unit.strip().strip("()[]")


def _read_row(
    names: list[str], units: list[str], row: int, cells: list[str], source: str, headings: Headings
) -> RawSheet:
    sheet = RawSheet(f"row {row}", source, headings=headings)
    for place, text in enumerate(cells):
        heading = names[place].strip() if place < len(names) else ""
        if heading and (text.strip() or headings.sheet(heading).field):
            add_field(sheet, heading, text, row)
            if place < len(units) and not is_missing(_strip_brackets(units[place])):
                _set_unit(sheet, headings.sheet(heading).field, _strip_brackets(units[place]))
        elif text.strip():
            message = (
                f"Cell {text.strip()!r} in row {row} has no heading. Add a heading, or clear it."
            )
            code = "more-cells-than-headings" if place >= len(names) else "unknown-column"
            sheet.findings.append(Finding(code, message, None, row, text.strip()))
    if not (named := sheet.fields.get("sheet_id")) or is_missing(named.text):
        message = f"The build in row {row} has no sheet_id. Give every build a sheet_id."
        sheet.findings.append(Finding("missing", message, "sheet_id", row))
    else:
        sheet.sheet_id = named.text.strip()
    if any(units):
        message = f"The row below the headings was read as units: {', '.join(filter(None, units))}."
        sheet.findings.append(Finding("unit-row", message, None, row))
    return sheet


def _set_unit(sheet: RawSheet, field: str | None, unit: str) -> None:
    """Give a cell the unit from below its heading, unless the heading names one itself."""
    if field is not None and (cell := sheet.fields.get(field)) is not None:
        cell.unit = cell.unit or unit


def _split_pulls(pulls: list[Row], headings: Headings) -> dict[str, list[Row]]:
    """Split the pulls by sheet, each with the headings above its rows; '' is rows without a name.

    A table made from several may repeat its headings, perhaps with other units.
    """
    tables: dict[str, list[Row]] = {}
    head: list[Row] = []
    under: dict[str, int] = {}  # row of the headings above the rows of each sheet
    column: int | None = None
    above = ""  # a name holds for the blank cells below it
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
        name = above if not name and column is not None else name
        above = name
        if head and under.get(name) != head[0][0]:
            under[name] = head[0][0]
            tables.setdefault(name, []).extend(head)
        tables.setdefault(name, []).append((row, _without(cells, column)))
    return tables


def _below_headings(cells: list[str], column: int | None) -> bool:
    """Return whether the row below the headings holds units: it has no number."""
    named = column is not None and column < len(cells) and not is_missing(cells[column])
    texts = [cell for at, cell in enumerate(cells) if at != column and cell.strip()]
    return bool(texts) and not named and all(numerals.plain(t.strip()) is None for t in texts)


def _simplify(name: str) -> str:
    return squash(name).lstrip("0")


def _without(cells: list[str], column: int | None) -> list[str]:
    return cells if column is None else cells[:column] + cells[column + 1 :]


def _report_orphan(name: str, table: list[Row], source: str, known: dict[str, str]) -> RawSheet:
    row = table[-1][0]
    near = known.get(_simplify(name))
    hint = f" Is {near!r} meant?" if near is not None else " Add it there, or correct the name."
    message = (
        f"The pull in row {row} is of sheet {name!r}, which is not in the builds.{hint}"
        if name
        else f"The pull in row {row} does not name its sheet. Add a column sheet_id."
    )
    orphan = RawSheet(name or f"row {row}", source, table=table)
    orphan.findings.append(Finding("pull-without-build", message, "sheet_id", row, name))
    return orphan
