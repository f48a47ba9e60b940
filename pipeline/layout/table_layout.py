"""Find the pulls in a table: side by side or one below the other, and the text around them.

A table is what a dyno printed: perhaps a title, then headings, a row of units, readings and a
summary; and the same again for the next pull, below or beside it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.layout import heading_rows
from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.pipeline.vocabulary.units import known
from pullbook.pipeline.vocabulary.words import is_missing
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Decision, Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.layout.heading_rows import HeadingRow
    from pullbook.pipeline.vocabulary.headings import Headings, Named

    Row = tuple[int, list[str]]

_BEGINS_LIKE_A_NUMBER = re.compile(r"\s*[~(]?\s*[+-]?[.,]?\d")
_SUMMARY = frozenset(
    {"max", "maximum", "peak", "min", "minimum", "avg", "average", "mean", "total", "sum", "std",
     "sd", "median", "mittel", "mittelwert", "promedio", "media", "maximo", "minimo"}
)  # fmt: skip
_READ = ("torque", "power")
_NO_UNIT = frozenset({"text", "none", "no", "#", "nr", "number"})


class Column(NamedTuple):
    """One column of a pull, as its heading and the row of units below it say.

    Attributes
    ----------
    place
        Position in the row, from 0.
    heading
        The heading as written.
    unit, basis, factor
        As for `column_heading.ColumnHeading`.
    """

    place: int
    heading: str
    unit: str | None = None
    basis: str | None = None
    factor: float = 1.0


@dataclass(slots=True)
class Block:
    """Columns and rows of one pull, or of several pulls with a column that numbers them.

    Attributes
    ----------
    columns
        The columns of each quantity: several where it stands observed and corrected, or in two
        units.
    number
        Number of the pull, from 1, if its place or heading shows it; else 0.
    rows
        Row number in the file and cells of each reading.
    blank
        Positions of columns without a heading.
    """

    columns: dict[str, list[Column]]
    number: int
    rows: list[Row] = field(default_factory=list)
    blank: frozenset[int] = frozenset()

    def places(self, name: str) -> list[int]:
        """Return the positions of the columns of a quantity."""
        return [column.place for column in self.columns.get(name, ())]


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
    done: list[Block] = []
    beside: list[Block] = []
    findings: list[Finding] = []
    width = skip = 0
    for at, (row, cells) in enumerate(rows):
        if skip:
            skip -= 1
        elif beside and not beside[0].rows and (in_units := _read_units(cells, beside, row)):
            findings += in_units
        elif beside and is_reading(cells, beside):
            beside[0].rows.append((row, cells))
            if len(cells) > width and (extra := _check_extra_cells(row, cells[width:])):
                findings.append(extra)
        elif (head := heading_rows.at(rows, at, headings)) is not None:
            if beside:
                message = f"The headings in row {row} start another pull."
                findings.append(Finding("several-pulls", message, "pull", row))
            beside, in_headings = _begin(head, row)
            for block in beside:
                block.number += len(done) if done or len(beside) > 1 else 0
            for block in beside[1:]:
                block.rows = beside[0].rows  # pulls side by side share their rows
            done += beside
            findings += in_headings
            width, skip = len(head.cells), head.rows - 1
        else:
            text = " ".join(cell.strip() for cell in cells if cell.strip())[:60]
            message = f"Text in row {row} was left out: {text!r}."
            findings.append(Finding("text-left-out", message, None, row, text))
    if not done:
        findings += _report_unknown(rows, headings)
    findings += [found for block in done for found in _headless(block)]
    return done, findings


def _headless(block: Block) -> Iterator[Finding]:
    """Columns of numbers right of torque or power that have no heading: of what, nobody says."""
    taken = {column.place for own in block.columns.values() for column in own}
    for name in _READ:
        for place in block.places(name):
            beside = place + 1
            filled = [row for row, cells in block.rows if beside < len(cells)
                      and _BEGINS_LIKE_A_NUMBER.match(cells[beside])]  # fmt: skip
            if beside in block.blank and beside not in taken and len(filled) > len(block.rows) / 2:
                message = (
                    f"The column of numbers beside {name} has no heading; it was left out. If it"
                    f" is {name} in another correction, head both."
                )
                yield Finding("column-without-heading", message, name, filled[0])


def _report_unknown(rows: list[Row], headings: Headings) -> list[Finding]:
    """Report the headings of a table in which none is known: the cells above the first numbers."""
    for (row, cells), (_, below) in pairwise(rows):
        if len(below) > 1 and all(_BEGINS_LIKE_A_NUMBER.match(c) for c in below if c.strip()):
            named = [cell.strip() for cell in cells if cell.strip()]
            others = [one for one in named if headings.pull(one).field != "rpm"]
            unknown = [_unknown_column(heading, row) for heading in others]
            if len(others) < len(named):
                unknown.append(_no_quantity(others, row))
            return unknown
    return []


def _no_quantity(columns: list[str], row: int) -> Finding:
    named = ", ".join(repr(one) for one in columns[:4])
    message = (
        f"The columns beside rpm in row {row} ({named}) do not say whether they are torque or"
        " power. Say so in their headings, or in your settings file."
    )
    decision = Decision(
        f"are {named} torque or power?",
        tuple(
            "headings: {" + ", ".join(f'"{one}": {quantity} {at}' for at, one in
                                      enumerate(columns, 1)) + "}"
            for quantity in _READ
        ),
    )  # fmt: skip
    return Finding("no-quantity", message, None, row, None, decision)


def _unknown_column(heading: str, row: int) -> Finding:
    message = f"Column {heading!r} is not a column of a pull; it was left out."
    return Finding("unknown-column", message, heading, row)


def is_reading(cells: list[str], beside: list[Block]) -> bool:
    """Return whether a row has numbers in the columns and is not a summary of them."""
    for block in beside:
        place = next(iter(block.places("rpm")), -1)
        speed = cells[place].strip() if 0 <= place < len(cells) else ""
        if speed.isdigit():
            return True
        others = [cells[at] for name in _READ for at in block.places(name) if at < len(cells)]
        some = any(_BEGINS_LIKE_A_NUMBER.match(cell) for cell in others)
        if squash(speed.split()[0] if speed else "").rstrip(":.") in _SUMMARY:
            continue
        if some or (
            _BEGINS_LIKE_A_NUMBER.match(speed)
            and (len(speed.split()) <= 2 or any(not is_missing(cell) for cell in others))
        ):
            return True
    return False


def _check_extra_cells(row: int, cells: list[str]) -> Finding | None:
    filled = [cell for cell in cells if cell.strip()]
    if not any(_BEGINS_LIKE_A_NUMBER.match(cell) for cell in filled):
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
                findings.append(_unknown_column(heading, row))
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
    if there and (field_name not in _READ or any(_alike(column, one) for one in there)):
        beside.append(Block({}, len(beside) + 1))
    beside[-1].columns.setdefault(field_name, []).append(column)


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
                    columns[at] = column._replace(unit=column.unit or text)
                else:
                    message = f"The unit {text!r} of {name} in row {row} is not known. Correct it."
                    unknown.append(Finding("unknown-unit", message, name, row, text))
    if not found:
        return []
    message = f"The columns got their units from row {row}: {', '.join(found)}."
    return [Finding("unit-row", message, None, row), *unknown]
