"""Lines of text as rows of cells: separated by a mark, or printed in columns."""

from __future__ import annotations

import csv
import re
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.files import bounds
from pullbook.pipeline.files.text_file import UnreadableError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from pullbook.pipeline.vocabulary.headings import Named

    Row = tuple[int, list[str]]

_SEPARATORS = (",", ";", "\t", "|")
#: The first line of a file that a spreadsheet was told to write: sep=;
_SAID = re.compile(r"\"?sep=([,;|\t])\"?[,;|]*", re.IGNORECASE)
_LOOKED_AT = 200
#: Cells in columns that only blanks separate; headings may contain blanks.
_WORDS, _PHRASES = re.compile(r"\S+"), re.compile(r"\S+(?: \S+)*")
_NUMBER = re.compile(r"[+-]?[.,]?\d")
#: Readings start at most this many lines below the headings: units and a rule may come between.
_BELOW = 4


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
            bounds.check_row(row, cells)
            rows.append((row, cells))
            if len(rows) > most:
                msg = f"The table has more than {most} rows. Split it into several files."
                raise UnreadableError(msg, "too-large")
    return rows


def _rows(lines: list[str], first_row: int, named: Callable[[str], Named]) -> Iterator[Row]:
    mark = _separator(lines, named)
    if mark is None and (printed := _find_printed(lines, named)):
        yield from ((row, printed.cells(line)) for row, line in enumerate(lines, first_row))
        return
    reader = csv.reader(lines, delimiter=mark or _SEPARATORS[0], strict=True)
    row = first_row
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
        raise UnreadableError(msg, "open-quote") from error


def _separator(lines: list[str], named: Callable[[str], Named]) -> str | None:
    """Return the separator of the cells: what the file says, or names two columns in a line."""
    first = next((line for line in lines if line.strip()), "")
    if (said := _SAID.fullmatch(first.strip())) is not None:
        return said[1]
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
        if ":" in line or "...." in line:  # a label with its value
            return [line]
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
