"""Read workbooks: the values of the tabs, as the texts a person sees.

A workbook is an archive of XML from somebody else, or an older binary file. Its size is checked
before it is opened, XML entities are refused, and cells far from all others cannot slow it down.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
import zipfile
from typing import TYPE_CHECKING, Any

import defusedxml.ElementTree as Xml

from pullbook.pipeline.files import bounds, older_workbook, text_file, workbook_size
from pullbook.pipeline.files.text_file import UnreadableError
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    Row = tuple[int, list[str]]

_COLUMNS = bounds.CELLS
#: Endings of workbooks: of today's kind, the old binary kind, and the open one.
XLSX, OLDER = ".xlsx", (".xls", ".ods")
WORKBOOKS = (XLSX, *OLDER)
_FILLED = 1_000_000
_NAMESPACE = re.compile(r"^\{[^}]*\}")


def read(path: Path) -> tuple[dict[str, list[Row]], list[Finding]]:
    """Return the tabs of a workbook by title, and notes on how they were read.

    Formulas give their stored value; a merged cell is repeated in every row that it covers.

    Parameters
    ----------
    path
        The workbook; its ending says which kind it is.

    Raises
    ------
    UnreadableError
        The file is not a workbook, or is too large unpacked.

    """
    data = text_file.contents(path, workbook_size.PACKED_BYTES)
    older = path.suffix.casefold() in OLDER
    try:
        if data[:2] == b"PK":
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                workbook_size.check_parts(archive, path.name)
                if not older:
                    with warnings.catch_warnings():
                        warnings.simplefilter("ignore")  # about styles and extensions, not values
                        return _read_tabs(io.BytesIO(data), archive)
        return older_workbook.read(data), []
    except UnreadableError:
        raise
    except Exception as error:  # the libraries raise errors of many kinds for a damaged file
        msg = f"{path.name} cannot be read as a workbook. Save it again as .xlsx."
        raise UnreadableError(msg) from error


def read_older_here() -> None:
    """Be the process that reads a workbook of an older or open kind."""
    older_workbook.serve(_format_value, workbook_size.TABS, workbook_size.CELLS, _COLUMNS)


def _read_tabs(
    file: io.BytesIO, archive: zipfile.ZipFile
) -> tuple[dict[str, list[Row]], list[Finding]]:
    import openpyxl  # noqa: PLC0415 - for those who bring workbooks

    counter = workbook_size.Counter()
    widths = {}  # counted before the library sees anything: it reads a tab through when it opens it
    for name in archive.namelist():
        if name.startswith("xl/worksheets/sheet") or "sharedstrings" in name.casefold():
            counter.count(archive.read(name))
            widths[name] = counter.last_column
    book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
    tabs: dict[str, list[Row]] = {}
    findings: list[Finding] = []
    try:
        if len(book.worksheets) > workbook_size.TABS:
            msg = (
                f"The workbook has {len(book.worksheets)} tabs; the limit is"
                f" {workbook_size.TABS}. Split it."
            )
            raise UnreadableError(msg, "too-large")
        for tab in book.worksheets:
            part = archive.read(_part_of(tab))
            if _part_of(tab) not in widths:
                counter.count(part)
            last = widths.get(_part_of(tab), counter.last_column)
            if last > _COLUMNS:
                findings.append(_too_wide(tab.title, last))
            grid = _read_grid(tab)
            findings += _fill_merged_and_formulas(grid, part, tab.title)
            tabs[tab.title] = [(row, cells) for row, cells in grid.items() if any(cells)]
            for row, cells in tabs[tab.title]:
                bounds.check_row(row, cells)
    finally:
        book.close()
    return tabs, findings


def _too_wide(title: str, last: int) -> Finding:
    message = (
        f"Tab {title!r} has a cell in column {last}; columns after {_COLUMNS} were left out. Move"
        " or delete what stands there."
    )
    return Finding("left-missing", message)


def _part_of(tab: Any) -> str:
    """Return the name of a tab's part in the archive; the library has no public name for it."""
    return str(tab._worksheet_path)


def _read_grid(tab: Any) -> dict[int, list[str]]:
    tab.reset_dimensions()  # the size stated in the file may be wrong
    grid = {}
    for number, cells in enumerate(tab.iter_rows(max_col=_COLUMNS), start=1):
        last = max((i for i, cell in enumerate(cells) if cell.value is not None), default=-1)
        if last >= 0:
            grid[number] = [_format_cell(cell).strip() for cell in cells[: last + 1]]
    return grid


#: Parts of a number format that are shown literally, among them a quoted percent sign.
_LITERAL = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')


def _format_cell(cell: Any) -> str:
    """Return what a cell shows: 0.45 formatted as a percentage is 45 %."""
    value = cell.value
    if isinstance(value, int | float) and "%" in _LITERAL.sub("", cell.number_format or ""):
        return f"{100 * value:.10g} %"
    return _format_value(value)


def _format_value(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float() if value.is_integer():
            return str(int(value))
        case dt.datetime():
            return value.date().isoformat()
        case dt.date():
            return value.isoformat()
        case _:
            return str(value)


def _fill_merged_and_formulas(grid: dict[int, list[str]], part: bytes, title: str) -> list[Finding]:
    """Copy merged cells into the rows they cover, and find the formulas without a value."""
    if b"mergeCell" not in part and b"<f" not in part and b":f" not in part:
        return []
    from openpyxl.utils import cell  # noqa: PLC0415 - as above

    merged: list[str] = []
    formulas: list[str] = []
    room = _FILLED
    for kind, where in _marks(part):
        if kind == "merged":
            left, top, _, bottom = cell.range_boundaries(where)
            if left is None or top is None or bottom is None or left > _COLUMNS:
                continue
            value = _get_cell(grid, top, left)
            rows = range(top + 1, min(bottom, max(grid, default=0)) + 1)
            room -= len(rows)
            if not value or not rows or room < 0:
                continue
            for row in rows:
                _set_cell(grid, row, left, value)
            merged.append(where)
        else:
            row, column = cell.coordinate_to_tuple(where)
            if column <= _COLUMNS and not _get_cell(grid, row, column):
                formulas.append(where)
    findings = []
    if merged:
        message = (
            f"Tab {title!r}: merged cells ({', '.join(merged[:3])}) were read as the same value in"
            " each row."
        )
        findings.append(Finding("merged-cells", message))
    if formulas:
        noun = "formula has" if len(formulas) == 1 else "formulas have"
        message = (
            f"Tab {title!r}: {len(formulas)} {noun} no stored value ({', '.join(formulas[:3])}) and"
            " counts as blank. Open the workbook, let it calculate and save it."
        )
        findings.append(Finding("formula-without-value", message))
    return findings


def _marks(part: bytes) -> Iterator[tuple[str, str]]:
    """Yield the merged ranges and the formulas without a value in a tab's XML."""
    formula = valued = False
    for _, element in Xml.iterparse(io.BytesIO(part), forbid_dtd=True):
        match _NAMESPACE.sub("", element.tag):
            case "f":
                formula = True
            case "v" | "is":
                valued = bool((element.text or "").strip()) or len(element) > 0
            case "c":
                if formula and not valued and (where := element.get("r")):
                    yield "formula", where
                formula = valued = False
                element.clear()
            case "mergeCell" if where := element.get("ref"):
                yield "merged", where
            case "row":
                element.clear()


def _get_cell(grid: dict[int, list[str]], row: int, column: int) -> str:
    cells = grid.get(row, [])
    return cells[column - 1] if column <= len(cells) else ""


def _set_cell(grid: dict[int, list[str]], row: int, column: int, text: str) -> None:
    cells = grid.setdefault(row, [])
    cells += [""] * (column - len(cells))
    cells[column - 1] = text
