"""A document of rows as sheets: letterheads and tables, one build after another.

A sheet begins with labels that describe a build, and goes on through its tables. Labels of a build
below a table begin the next sheet, so that no build gets the pull of another.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.layout import beside_table, engine_rows, heading_rows, letterhead, transposed
from pullbook.pipeline.layout.raw_fields import add_field, take_name
from pullbook.pipeline.layout.runs_of_builds import part_runs
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.pipeline.vocabulary import compound_cells
from pullbook.schemas.field import Role
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.layout.letterhead import Labelled
    from pullbook.pipeline.vocabulary.headings import Headings

    Row = tuple[int, list[str]]

_WHICH = frozenset({"sheet_id", "engine", "family"})
#: Rows of a table are told by their first cells alone where these are numbers.
_FEWEST = 2


def is_heading_row(cells: list[str], headings: Headings) -> bool:
    """Return whether cells are headings of a pull: rpm beside torque or power."""
    return heading_rows.at([(1, cells)], 0, headings) is not None


def has_pull_rows(rows: list[Row], headings: Headings) -> bool:
    """Return whether there are headings of a pull among the rows."""
    return any(heading_rows.at(rows, at, headings) is not None for at in range(len(rows)))


def sheets_of(rows: list[Row], source: str, name: str, headings: Headings) -> list[RawSheet]:
    """Return the sheets of rows without front matter.

    Parameters
    ----------
    rows
        Row number and cells of every row that is not blank.
    source, name
        The file, for findings, and the name of a sheet that gives none.
    headings
        The headings that are understood.

    """
    if (found := engine_rows.sheets_of(rows, source, headings)) is not None:
        return found
    return continue_sheet(RawSheet(name, source, headings=headings), rows, letterhead_above=True)


def continue_sheet(
    sheet: RawSheet, rows: list[Row], *, letterhead_above: bool = False
) -> list[RawSheet]:
    """Give a sheet its tables, and return it with the sheets that follow in the rows.

    Parameters
    ----------
    sheet
        The sheet with its fields so far.
    rows
        Row number and cells of the rows below them.
    letterhead_above
        Whether labels above the first table are fields of the sheet; else they are text.

    """
    sheets = [sheet]
    sheet.table = []
    in_table, at = False, 0
    headings = sheet.headings
    rows, labels = beside_table.part(transposed.upright(rows, headings), headings)
    for row, one in labels:
        add_field(sheet, one.label, one.value, row)
    while at < len(rows):
        cells = rows[at][1]
        head = None if _is_numbers(cells) else heading_rows.at(rows, at, headings)
        if head is not None or _is_numbers(cells):
            in_table = in_table or head is not None or not letterhead_above
            taken = 1 if head is None else head.rows
            sheets[-1].table += rows[at : at + taken]  # type: ignore[operator]
            at += taken
            continue
        found, taken = letterhead.labels(rows, at, headings)
        known = [one for one in found if one.known]
        if not known or (not in_table and not letterhead_above and len(sheets) == 1):
            sheets[-1].table.append(rows[at])  # type: ignore[union-attr]
            at += 1
            continue
        if in_table and _begins_sheet(rows, at, headings):
            sheets.append(RawSheet(sheet.sheet_id, sheet.source, headings=headings, table=[]))
            in_table, letterhead_above = False, True
        if in_table and not letterhead_above:
            sheets[-1].table.append(rows[at])  # type: ignore[union-attr]
            at += 1
            continue
        for one in found:
            if one.value:
                add_field(sheets[-1], one.label, one.value, rows[at][0])
        at += taken
    for each in sheets:
        take_name(each)
    return [made for each in sheets for made in part_runs(each)]


def _is_numbers(cells: list[str]) -> bool:
    first = cells[0].strip() if cells else ""
    return len(cells) >= _FEWEST and first[:1].isdigit() and first.replace(".", "").isdigit()


def _begins_sheet(rows: list[Row], at: int, headings: Headings) -> bool:
    """Return whether the labels from a row on describe another build, and a pull of it follows."""
    describes = False
    while at < len(rows):
        if heading_rows.at(rows, at, headings) is not None:
            return describes
        found, taken = letterhead.labels(rows, at, headings)
        describes = describes or any(_describes(one, headings) for one in found)
        at += taken
    return False


def _describes(label: Labelled, headings: Headings) -> bool:
    field = headings.sheet(label.label).field
    if field is None:
        return label.known and compound_cells.is_compound(label.label)
    return bool(label.value) and (field in _WHICH or FIELDS[field].role is Role.BUILD)


def number(sheets: list[RawSheet], stem: str) -> list[RawSheet]:
    """Give the sheets of a file names of their own, where they have none, and say how many.

    Sheets without a name get the file's with a number.
    """
    if len(sheets) < _FEWEST:
        return sheets
    names = [sheet.sheet_id for sheet in sheets]
    for place, sheet in enumerate(sheets, 1):
        if "sheet_id" not in sheet.fields and names.count(sheet.sheet_id) > 1:
            sheet.sheet_id = f"{stem}-{place}"
        message = f"The file holds {len(sheets)} sheets; this is number {place}."
        sheet.findings.append(Finding("several-sheets", message, None, None, str(len(sheets))))
    return sheets
