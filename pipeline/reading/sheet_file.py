"""Read a sheet file: fields between two --- lines, then the table of the pull."""

from __future__ import annotations

import csv
import re
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.reading import front_matter, text_file
from pullbook.pipeline.values.cells import is_missing
from pullbook.pipeline.values.headings import PLAIN
from pullbook.pipeline.values.sheet import SIGNATURE_FIELDS, Cell, RawSheet
from pullbook.schemas.errors import did_you_mean
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from pullbook.pipeline.values.headings import Headings, Named

    Row = tuple[int, list[str]]

FENCE = "---"
#: A --- line as written, or as editors and spreadsheets change it.
_FENCE, _OPENS = re.compile(r"(?:-{3,}|[\u2013\u2014]+)[,;\t]*"), ("-", "\u2013", "\u2014", " ")
#: Most rows of a sheet's table: a sweep of several minutes, read a hundred times a second.
MOST_ROWS = 100_000
_SEPARATORS = (",", ";", "\t", "|")
_LOOKED_AT = 30
#: Cells in columns that only blanks separate; headings may contain blanks.
_WORDS, _PHRASES = re.compile(r"\S+"), re.compile(r"\S+(?: \S+)*")
_NUMBER = re.compile(r"[+-]?[.,]?\d")
#: Readings start at most this many lines below the headings: units and a rule may come between.
_BELOW = 4


def has_front_matter(text: str) -> bool:
    """Return whether the first line that is not blank is a --- line."""
    return _FENCE.fullmatch(text.lstrip().split("\n", 1)[0].strip()) is not None


def read(path: Path, headings: Headings = PLAIN) -> RawSheet:
    """Read a sheet file; its faults become findings of the sheet."""
    sheet = RawSheet(path.stem, str(path), headings=headings)
    try:
        text, notes = text_file.read(path)
        sheet.findings += notes
        _split_sheet(sheet, text, path.name)
    except text_file.UnreadableError as fault:
        sheet.findings.append(fault.finding)
    return sheet


def _split_sheet(sheet: RawSheet, text: str, name: str) -> None:
    lines = text.split("\n")
    fences = []
    for place, line in enumerate(lines):
        if line[:1] in _OPENS and _FENCE.fullmatch(line.strip()):
            fences.append(place)
            if len(fences) == 2:
                break
    if not has_front_matter(text) or len(fences) < 2:
        message = f"{name} does not start with its fields between two {FENCE} lines. Add the lines."
        sheet.findings.append(Finding("no-front-matter", message, row=1))
        return
    first, last = fences
    fields = lines[first + 1 : last]
    if lines[first].strip()[-1] in _SEPARATORS:  # saved by a spreadsheet, which adds empty cells
        fields = [_strip_empty_cells(line, lines[first].strip()[-1]) for line in fields]
    add_fields(sheet, "\n".join(fields), first + 2)
    sheet.text = text if sheet.signature else ""
    sheet.table = rows_of(lines[last + 1 :], last + 2, sheet.headings.pull, MOST_ROWS)


def _strip_empty_cells(line: str, mark: str) -> str:
    """Return a line of fields without the empty cells that a spreadsheet added at its end."""
    line = line.rstrip().rstrip(mark)
    if len(line) > 1 and line.startswith('"') and line.endswith('"'):
        line = line[1:-1].replace('""', '"')
    return line


def read_build(path: Path, headings: Headings = PLAIN) -> RawSheet:
    """Read a build file: plain fields, without a pull."""
    sheet = RawSheet(path.stem, str(path), headings=headings)
    try:
        text, notes = text_file.read(path)
        sheet.findings += notes
        add_fields(sheet, text, 1)
    except text_file.UnreadableError as fault:
        sheet.findings.append(fault.finding)
    return sheet


def add_fields(sheet: RawSheet, text: str, first_row: int) -> None:
    """Add the fields of a YAML text to a sheet, with findings for what cannot be read."""
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
    """Add one field to a sheet, or a finding that says why not."""
    name, unit, inferred, _ = sheet.headings.sheet(heading)
    if name is None and heading in SIGNATURE_FIELDS:
        sheet.signature[heading] = text
        return
    if name is None:
        near = did_you_mean(heading, FIELDS)
        message = f"{heading!r} is not a field of a sheet; it was left out.{near}"
        sheet.findings.append(Finding("unknown-field", message, heading, row, text))
        return
    if name in sheet.fields:
        first = sheet.fields[name].row
        message = f"{FIELDS[name].title} is given twice, in rows {first} and {row}. Keep one."
        sheet.findings.append(Finding("repeated-field", message, name, row, text))
        return
    if inferred and text.strip():
        message = f"Field {heading!r} was read as {name!r}."
        sheet.findings.append(Finding("read-as", message, name, row, heading))
    sheet.fields[name] = Cell(text, row, unit)


def rows_of(
    lines: list[str], first_row: int, named: Callable[[str], Named], most: int
) -> list[Row]:
    """Split lines into cells, with the row number of each line; blank lines are skipped.

    Parameters
    ----------
    lines
        Lines of the file.
    first_row
        The row of the first line in the file.
    named
        Returns the field a heading names; used to find the separator.
    most
        The most rows allowed.

    Raises
    ------
    UnreadableError
        There are too many rows, or a quotation mark is not closed.

    """
    rows: list[Row] = []
    for row, cells in _rows(lines, first_row, named):
        if "".join(cells).strip():
            rows.append((row, cells))
            if len(rows) > most:
                msg = f"The table has more than {most} rows. Split it into several files."
                raise text_file.UnreadableError(msg, "too-large")
    return rows


def _rows(lines: list[str], first_row: int, named: Callable[[str], Named]) -> Iterator[Row]:
    mark = _separator(lines, named)
    if mark is None and (printed := _find_printed(lines, named)):
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
    except csv.Error as error:
        msg = (
            f"The table cannot be read from row {row} on: a quotation mark there is not closed"
            f" ({error}). Close it or remove it."
        )
        raise text_file.UnreadableError(msg, "open-quote") from error


def _separator(lines: list[str], named: Callable[[str], Named]) -> str | None:
    """Return the separator of the cells: the first with which a line names two columns."""
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
    """Columns that only blanks separate: first and last position of each."""

    columns: list[tuple[int, int]]

    def cells(self, line: str) -> list[str]:
        """Return the cells of a line, with blank cells for empty columns.

        A line whose words cannot be assigned to the columns is one cell.
        """
        line = line.expandtabs()
        if (found := _split_line(line, len(self.columns))) is not None:
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


def _split_line(line: str, width: int) -> list[re.Match[str]] | None:
    """Return the words of a line, or else its phrases, if there are ``width`` of them."""
    for kind in (_WORDS, _PHRASES):
        found = list(kind.finditer(line))
        if len(found) == width:
            return found
    return None


def _find_printed(lines: list[str], named: Callable[[str], Named]) -> _Printed | None:
    """Find columns that only blanks separate; ``None`` if there are none.

    At least two headings must be known, with as many numbers as headings soon below.
    """
    filled = [line.expandtabs() for line in lines if line.strip()]
    for place, line in enumerate(filled[:_LOOKED_AT]):
        for heading in (list(_PHRASES.finditer(line)), list(_WORDS.finditer(line))):
            if not _names_columns([one.group() for one in heading], named):
                continue
            below = [_split_line(row, len(heading)) for row in filled[place + 1 :]]
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
