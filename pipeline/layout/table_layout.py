"""Find the pulls in a table: side by side or one below the other, and the text around them.

A table is what a dyno printed: perhaps a title, then headings, a row of units, readings and a
summary; and the same again for the next pull, below or beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.layout import heading_rows, titles, unknown_columns
from pullbook.pipeline.layout.pull_block import (
    BEGINS_LIKE_A_NUMBER,
    READ,
    Block,
    Column,
    goes_on,
    is_reading,
)
from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.pipeline.vocabulary.units import known, scale
from pullbook.pipeline.vocabulary.words import is_missing
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.layout.heading_rows import HeadingRow
    from pullbook.pipeline.vocabulary.headings import Headings, Named

    Row = tuple[int, list[str]]

_NO_UNIT = frozenset({"text", "none", "no", "#", "nr", "number"})


def blocks(rows: list[Row], headings: Headings) -> tuple[list[Block], list[Finding]]:
    """Find the pulls of a table.

    Parameters
    ----------
    rows
        Row number in the file and cells of every row that is not blank.
    headings
        The headings that are understood.

    Returns
    -------
    The pulls in the order of the file, and findings: what was inferred, left out or wrong.

    """
    found = _Pulls(rows, headings)
    at = 0
    while at < len(rows):
        at += found.take(at)
    if not found.done:
        found.findings += unknown_columns.of_no_pull(rows, headings)
    for block in found.done:
        found.findings += unknown_columns.without_heading(block)
    return found.done, found.findings


class _Pulls:
    """The pulls found so far, reading row by row."""

    def __init__(self, rows: list[Row], headings: Headings) -> None:
        self.done: list[Block] = []
        self.findings: list[Finding] = []
        self._rows, self._headings = rows, headings
        self._beside: list[Block] = []
        self._width, self._title = 0, ""

    def take(self, at: int) -> int:
        """Read what begins in a row; return how many rows it takes."""
        row, cells = self._rows[at]
        if self._beside and not self._beside[0].rows and self._names_units(at):
            return 1
        if self._beside and is_reading(cells, self._beside):
            self._beside[0].rows.append((row, cells))
            if len(cells) > self._width:
                extra = _check_extra_cells(row, cells[self._width :])
                self.findings += [] if extra is None else [extra]
            return 1
        head = heading_rows.at(self._rows, at, self._headings)
        if head is None:
            self._take_text(row, cells)
            return 1
        below = at + head.rows
        self._begin(head, row, self._rows[below : below + 2])
        return head.rows

    def _names_units(self, at: int) -> bool:
        """Return whether a row below the headings gives their units, or names them once more."""
        if _same_again(self._rows, at, self._beside, self._headings):
            return True
        row, cells = self._rows[at]
        in_units = _read_units(cells, self._beside, row)
        self.findings += in_units
        return bool(in_units)

    def _begin(self, head: HeadingRow, row: int, below: list[Row]) -> None:
        before, (self._beside, in_headings) = self._beside, _begin(head, row)
        _follow_title(self._beside, self._title)
        on = goes_on(before, self._beside, below)
        if before and not on:
            message = f"The headings in row {row} start another pull."
            self.findings.append(Finding("several-pulls", message, "pull", row))
        for block in self._beside:
            block.number += len(self.done) if self.done or len(self._beside) > 1 else 0
        if on:
            self._beside[0].number = before[0].number
        for block in self._beside[1:]:
            block.rows = self._beside[0].rows  # pulls side by side share their rows
        self.done += self._beside
        self.findings += in_headings
        self._width, self._title = len(head.cells), ""

    def _take_text(self, row: int, cells: list[str]) -> None:
        self._title = text = " ".join(cell.strip() for cell in cells if cell.strip())[:60]
        for block in self._beside:
            block.texts.append((len(block.rows), text))
        message = f"Text in row {row} was left out: {text!r}."
        self.findings.append(Finding("text-left-out", message, None, row, text))


def _same_again(rows: list[Row], at: int, beside: list[Block], headings: Headings) -> bool:
    """Return whether a row names the columns again that the row above named by their units."""
    if len(beside) != 1:
        return False
    head = heading_rows.at(rows, at, headings)
    if head is None or any(name.unit or name.basis for name in head.named):
        return False
    own = {column.place: name for name, c in beside[0].columns.items() for column in c}
    return own == {place: name.field for place, name in enumerate(head.named) if name.field}


def _follow_title(beside: list[Block], title: str) -> None:
    """Let a title say what the columns below it are in, where their headings do not."""
    basis = titles.basis(title)
    for block in beside:
        block.title = title
        for name in READ if basis is not None else ():
            block.columns[name] = [
                column if column.basis is not None else column._replace(basis=basis)
                for column in block.columns.get(name, [])
            ]


def _check_extra_cells(row: int, cells: list[str]) -> Finding | None:
    filled = [cell for cell in cells if cell.strip()]
    if not any(BEGINS_LIKE_A_NUMBER.match(cell) for cell in filled):
        return None
    message = (
        f"There are more cells than headings in row {row} ({filled[0]!r}). If decimals have commas,"
        " put semicolons between the cells or quotation marks around them."
    )
    return Finding("more-cells-than-headings", message, None, row, filled[0])


def _begin(head: HeadingRow, row: int) -> tuple[list[Block], list[Finding]]:
    """Return the pulls side by side under a row of headings."""
    findings: list[Finding] = []
    beside = [Block({}, 1)]
    for place, (heading, name) in enumerate(zip(head.cells, head.named, strict=True)):
        if name.field is None:
            if heading:
                findings += unknown_columns.not_understood(heading, row)
            continue
        if name.inferred:
            message = f"Column {heading!r} was read as {name.field!r}."
            findings.append(Finding("read-as", message, name.field, row, heading))
        _add_column(beside, name, Column(place, heading, name.unit, name.basis, name.factor))
    blank = frozenset(place for place, heading in enumerate(head.cells) if not heading)
    whole = [block for block in beside if "rpm" in block.columns]
    for block in whole:
        block.blank = blank
    for block in beside:
        if block not in whole:
            twice = next(iter(block.columns))
            message = f"Column {twice} occurs twice with one rpm column. Keep one, or number them."
            findings.append(Finding("repeated-field", message, twice, row))
    if len(whole) > 1:
        message = f"The headings in row {row} are of {len(whole)} pulls side by side."
        findings.append(Finding("several-pulls", message, "pull", row))
    else:
        whole[0].number = 0
    return whole, findings


def _add_column(beside: list[Block], name: Named, column: Column) -> None:
    """Add a column to the pull it belongs to; a repeated column starts the next pull.

    A column in another unit or correction than the first of its quantity is of the same pull.
    """
    field_name = str(name.field)
    if name.number is not None:
        speed = beside[0].columns.get("rpm")
        if len(beside) == 1 and set(beside[0].columns) <= {"rpm"}:
            beside[0].number = name.number
        block = next((b for b in beside if b.number == name.number), None)
        if block is None:
            block = Block({} if speed is None else {"rpm": speed}, name.number)
            beside.append(block)
        block.columns.setdefault(field_name, []).append(column)
        return
    there = beside[-1].columns.get(field_name, [])
    if there and (field_name not in READ or any(_alike(column, one) for one in there)):
        beside.append(Block({}, len(beside) + 1))
    beside[-1].columns.setdefault(field_name, []).append(column)


def _unlike(one: str | None, other: str, own: str) -> bool:
    return one is not None and known(one, own) and scale(one, own) != scale(other, own)


def _units_disagree(name: str, heading: str, below: str, row: int) -> Finding:
    message = (
        f"The heading of {name} says {heading}, and row {row} says {below}. Correct the one that is"
        " wrong."
    )
    return Finding("units-disagree", message, name, row, below)


def _alike(one: Column, other: Column) -> bool:
    return one.basis == other.basis and squash(one.unit or "") == squash(other.unit or "")


def _read_units(cells: list[str], beside: list[Block], row: int) -> list[Finding]:
    """Read the row below the headings as their units; return no findings if it is not such a row.

    One known unit makes it a row of units. Other texts in it are then faults, because a number
    with an ignored unit would be misread.
    """
    found: list[str] = []
    unknown: list[Finding] = []
    for block in beside:
        for name, columns in block.columns.items():
            for at, column in enumerate(columns):
                place = column.place
                text = cells[place].strip().strip("()[]").strip() if place < len(cells) else ""
                if is_missing(text) or text.casefold() in _NO_UNIT:
                    continue
                if numerals.plain(text) is not None:
                    return []
                if known(text, PULL_FIELDS[name].unit):
                    found.append(text)
                    if _unlike(column.unit, text, PULL_FIELDS[name].unit):
                        unknown.append(_units_disagree(name, str(column.unit), text, row))
                    columns[at] = column._replace(unit=column.unit or text)
                else:
                    message = f"The unit {text!r} of {name} in row {row} is not known. Correct it."
                    unknown.append(Finding("unknown-unit", message, name, row, text))
    if not found:
        return []
    message = f"The columns got their units from row {row}: {', '.join(found)}."
    return [Finding("unit-row", message, None, row), *unknown]
