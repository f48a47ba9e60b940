"""The sheet file: front matter between two --- lines, then the table of the pull."""

from __future__ import annotations

import csv
import re
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.reading import front_matter, text_file
from pullbook.pipeline.values.cells import is_missing
from pullbook.pipeline.values.headings import PLAIN
from pullbook.pipeline.values.sheet import Cell, RawSheet
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from pullbook.pipeline.values.headings import Headings, Named

    Row = tuple[int, list[str]]

FENCE = "---"
#: A fence as it is, or as editors and spreadsheets leave it.
_FENCE, _OPENS = re.compile(r"(?:-{3,}|[\u2013\u2014]+)[,;\t]*"), ("-", "\u2013", "\u2014", " ")
#: Most rows of a sheet's table: a sweep of minutes read a hundred times a second.
MOST_ROWS = 100_000
_SEPARATORS = (",", ";", "\t", "|")
_LOOKED_AT = 30
#: Cells that stand in columns without a mark between them; headings may hold blanks.
_WORDS, _PHRASES = re.compile(r"\S+"), re.compile(r"\S+(?: \S+)*")
_NUMBER = re.compile(r"[+-]?[.,]?\d")
#: Readings begin so soon below their headings: a row of units and a rule may stand between.
_BELOW = 4


def has_front_matter(text: str) -> bool:
    """Tell whether the first line that is not blank is a fence."""
    return _FENCE.fullmatch(text.lstrip().split("\n", 1)[0].strip()) is not None


def read(path: Path, headings: Headings = PLAIN) -> RawSheet:
    """Read a sheet file; what is wrong with it becomes findings of the sheet."""
    sheet = RawSheet(path.stem, str(path), headings=headings)
    try:
        text, notes = text_file.read(path)
        sheet.findings += notes
        _take_apart(sheet, text, path.name)
    except text_file.UnreadableError as fault:
        sheet.findings.append(fault.finding)
    return sheet


def _take_apart(sheet: RawSheet, text: str, name: str) -> None:
    lines = text.split("\n")
    fences = []
    for place, line in enumerate(lines):
        if line[:1] in _OPENS and _FENCE.fullmatch(line.strip()):
            fences.append(place)
            if len(fences) == 2:
                break
    if not has_front_matter(text) or len(fences) < 2:
        message = f"{name} does not open with fields between two {FENCE} lines"
        sheet.findings.append(Finding("no-front-matter", message, row=1))
        return
    first, last = fences
    fields = lines[first + 1 : last]
    if lines[first].strip()[-1] in _SEPARATORS:  # saved by a spreadsheet, which fills up its cells
        fields = [_whole(line, lines[first].strip()[-1]) for line in fields]
    add_fields(sheet, "\n".join(fields), first + 2)
    sheet.table = rows_of(lines[last + 1 :], last + 2, sheet.headings.pull, MOST_ROWS)


def _whole(line: str, mark: str) -> str:
    """Return a line of fields without the empty cells that a spreadsheet put behind it."""
    line = line.rstrip().rstrip(mark)
    if len(line) > 1 and line.startswith('"') and line.endswith('"'):
        line = line[1:-1].replace('""', '"')
    return line


def read_build(path: Path, headings: Headings = PLAIN) -> RawSheet:
    """Read a build without a pull: a file of plain fields."""
    sheet = RawSheet(path.stem, str(path), headings=headings)
    try:
        text, notes = text_file.read(path)
        sheet.findings += notes
        add_fields(sheet, text, 1)
    except text_file.UnreadableError as fault:
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
    if named is not None:
        if is_missing(named.text):
            del sheet.fields["sheet_id"]
        else:
            sheet.sheet_id = named.text.strip()


def add_field(sheet: RawSheet, heading: str, text: str, row: int) -> None:
    """Add one field to a sheet, or the finding that says why not."""
    name, unit, inferred, _ = sheet.headings.sheet(heading)
    if name is None:
        message = f"{heading!r} is not a field of a sheet and was left out"
        sheet.findings.append(Finding("unknown-field", message, heading, row, text))
        return
    if name in sheet.fields:
        message = f"{name} is given twice, in rows {sheet.fields[name].row} and {row}; keep one"
        sheet.findings.append(Finding("repeated-field", message, name, row, text))
        return
    if inferred and text.strip():
        message = f"the field {heading!r} was read as {name!r}"
        sheet.findings.append(Finding("read-as", message, name, row, heading))
    sheet.fields[name] = Cell(text, row, unit)


def rows_of(
    lines: list[str], first_row: int, named: Callable[[str], Named], most: int
) -> list[Row]:
    """Read lines of separated cells; blank lines do not count.

    Parameters
    ----------
    lines
        Of the file.
    first_row
        The number of the first of them in the file.
    named
        What a heading names, to tell which mark separates the cells.
    most
        Rows beyond this number are an error.

    Raises
    ------
    UnreadableError
        There are too many rows, or a cell that never ends.

    """
    rows: list[Row] = []
    for row, cells in _rows(lines, first_row, named):
        if "".join(cells).strip():
            rows.append((row, cells))
            if len(rows) > most:
                msg = f"the table has more than {most} rows"
                raise text_file.UnreadableError(msg, "too-large")
    return rows


def _rows(lines: list[str], first_row: int, named: Callable[[str], Named]) -> Iterator[Row]:
    mark = _separator(lines, named)
    if mark is None and (printed := _printed(lines, named)):
        yield from ((row, printed.cells(line)) for row, line in enumerate(lines, first_row))
        return
    reader = csv.reader(lines, delimiter=mark or _SEPARATORS[0], strict=True)
    try:
        while True:
            row = first_row + reader.line_num
            cells = next(reader, None)
            if cells is None:
                return
            yield row, cells
    except csv.Error as fault:
        msg = (
            f"the table cannot be read from row {row} on: a quotation mark stands there that is not"
            f" closed where it should be ({fault})"
        )
        raise text_file.UnreadableError(msg, "open-quote") from fault


def _separator(lines: list[str], named: Callable[[str], Named]) -> str | None:
    """Return the mark between the cells: the first under which a line names two columns."""
    for line in [line for line in lines[:_LOOKED_AT] if line.strip()]:
        for mark in _SEPARATORS:
            if mark in line:
                cells = next(csv.reader([line], delimiter=mark), [])
                if _names_columns(cells, named):
                    return mark
    return None


def _names_columns(cells: list[str], named: Callable[[str], Named]) -> bool:
    return sum(named(cell).field is not None for cell in cells) >= 2


class _Printed(NamedTuple):
    """Columns that stand side by side with blanks alone between them: where each of them is."""

    columns: list[tuple[int, int]]

    def cells(self, line: str) -> list[str]:
        """Return the cells of a line, blank where nothing stands in a column.

        A line of which it cannot be told what stands in which column is one cell.
        """
        line = line.expandtabs()
        if (found := _apart(line, len(self.columns))) is not None:
            return [one.group() for one in found]
        placed = (self._placed(kind.finditer(line)) for kind in (_WORDS, _PHRASES))
        return next((cells for cells in placed if cells is not None), [line])

    def _placed(self, found: Iterable[re.Match[str]]) -> list[str] | None:
        cells = [""] * len(self.columns)
        for one in found:
            over = [
                place
                for place, (start, end) in enumerate(self.columns)
                if one.start() < end and one.end() > start
            ]
            if len(over) != 1 or cells[over[0]]:
                return None
            cells[over[0]] = one.group()
        return cells


def _apart(line: str, width: int) -> list[re.Match[str]] | None:
    """Return the words of a line, or else its phrases, if they are so many."""
    for kind in (_WORDS, _PHRASES):
        found = list(kind.finditer(line))
        if len(found) == width:
            return found
    return None


def _printed(lines: list[str], named: Callable[[str], Named]) -> _Printed | None:
    """Find columns with blanks alone between them; ``None`` if there are none.

    There are headings that name two of them, and soon below as many numbers.
    """
    told = [line.expandtabs() for line in lines if line.strip()]
    for place, line in enumerate(told[:_LOOKED_AT]):
        for heading in (list(_PHRASES.finditer(line)), list(_WORDS.finditer(line))):
            if not _names_columns([one.group() for one in heading], named):
                continue
            below = [_apart(row, len(heading)) for row in told[place + 1 :]]
            if any(_is_numbers(row) for row in below[:_BELOW]):
                readings = [row for row in below if row is not None and _is_numbers(row)]
                spans = [
                    [one.span() for one in column]
                    for column in zip(heading, *readings, strict=True)
                ]
                return _Printed([(min(span)[0], max(e for _, e in span)) for span in spans])
    return None


def _is_numbers(cells: list[re.Match[str]] | None) -> bool:
    return cells is not None and all(_NUMBER.match(one.group()) for one in cells)
