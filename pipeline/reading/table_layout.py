"""Where in a table the pulls stand: under which headings, side by side or stacked, amid what text.

A table here is what a dyno printed: perhaps a title, headings, a row of units, readings, then a
summary; and the same again for the next pull, below or beside.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

from pullbook.pipeline.values import numerals
from pullbook.pipeline.values.cells import is_missing
from pullbook.pipeline.values.headings import squash
from pullbook.pipeline.values.units import known
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.values.headings import Headings, Named

    Row = tuple[int, list[str]]

_BEGINS_LIKE_A_NUMBER = re.compile(r"\s*[+-]?[.,]?\d")
_SUMMARY = frozenset(
    {"max", "maximum", "peak", "min", "minimum", "avg", "average", "mean", "total", "sum", "std",
     "sd", "median"}
)  # fmt: skip
_READ = ("torque", "power")
_NO_UNIT = frozenset({"text", "none", "no", "#", "nr", "number"})
#: Headings of a second torque or power, in another correction than the first.
_OTHERWISE = re.compile(r"corr|obs|raw|stp|std|sae|din|iso|measured", re.IGNORECASE)
_READINGS = re.compile(r"tor|tq|trq|pow|hp|kw", re.IGNORECASE)


@dataclass(slots=True)
class Block:
    """Columns and rows of one pull, or of several that a column tells apart.

    Attributes
    ----------
    columns
        Position and unit of each column, by the name of its field.
    number
        Number of the pull where the place or the heading tells it, from 1; else 0.
    rows
        Number in the file and cells of each row that holds a reading.
    """

    columns: dict[str, tuple[int, str | None]]
    number: int
    rows: list[Row] = field(default_factory=list)


def blocks(rows: list[Row], headings: Headings) -> tuple[list[Block], list[Finding]]:
    """Find the pulls of a table.

    Parameters
    ----------
    rows
        Number in the file and cells of every row that is not blank.
    headings
        What headings mean.

    Returns
    -------
    The pulls in the order of the file, and what was inferred, left out or found amiss.

    """
    done: list[Block] = []
    beside: list[Block] = []
    findings: list[Finding] = []
    width = 0
    for row, cells in rows:
        if beside and not beside[0].rows and (told := _units(cells, beside, row)):
            findings += told
        elif beside and _is_reading(cells, beside):
            beside[0].rows.append((row, cells))
            if len(cells) > width and (spare := _spare(row, cells[width:])):
                findings.append(spare)
        elif (found := _columns(cells, row, headings))[0]:
            if beside:
                message = f"row {row} has the headings of a further pull"
                findings.append(Finding("several-pulls", message, "pull", row))
            beside, told = found
            for block in beside:
                block.number += len(done) if done or len(beside) > 1 else 0
            for block in beside[1:]:
                block.rows = beside[0].rows  # pulls beside one another stand in the same rows
            done += beside
            findings += told
            width = len(cells)
        else:
            said = " ".join(cell.strip() for cell in cells if cell.strip())[:60]
            message = f"row {row} is no reading and was left out: {said!r}"
            findings.append(Finding("text-left-out", message, None, row, said))
    if not done:
        findings += _unknown(rows)
    return done, findings


def _unknown(rows: list[Row]) -> list[Finding]:
    """Name the headings of a table of which none is known: the cells above the first numbers."""
    for (row, cells), (_, below) in pairwise(rows):
        if len(below) > 1 and all(_BEGINS_LIKE_A_NUMBER.match(c) for c in below if c.strip()):
            return [_unknown_column(cell.strip(), row) for cell in cells if cell.strip()]
    return []


def _unknown_column(heading: str, row: int) -> Finding:
    message = f"the column {heading!r} is not one of a pull and was left out"
    return Finding("unknown-column", message, heading, row)


def _is_reading(cells: list[str], beside: list[Block]) -> bool:
    """Tell whether a row holds numbers where the columns are; a summary of them is none."""
    for block in beside:
        place = block.columns["rpm"][0] if "rpm" in block.columns else -1
        speed = cells[place].strip() if 0 <= place < len(cells) else ""
        if speed.isdigit():
            return True
        others = [
            cells[block.columns[name][0]]
            for name in _READ
            if name in block.columns and block.columns[name][0] < len(cells)
        ]
        some = any(_BEGINS_LIKE_A_NUMBER.match(cell) for cell in others)
        if squash(speed.split()[0] if speed else "").rstrip(":.") in _SUMMARY:
            continue
        if some or (
            _BEGINS_LIKE_A_NUMBER.match(speed)
            and (len(speed.split()) <= 2 or any(not is_missing(cell) for cell in others))
        ):
            return True
    return False


def _spare(row: int, cells: list[str]) -> Finding | None:
    said = [cell for cell in cells if cell.strip()]
    if not any(_BEGINS_LIKE_A_NUMBER.match(cell) for cell in said):
        return None
    message = (
        f"row {row} has more cells than there are headings ({said[0]!r}); with decimal commas,"
        " separate the cells by semicolons or quote them"
    )
    return Finding("more-cells-than-headings", message, None, row, said[0])


def _columns(cells: list[str], row: int, headings: Headings) -> tuple[list[Block], list[Finding]]:
    """Take a row as headings: the pulls that stand side by side under it, none if it is none."""
    named = [headings.pull(cell) for cell in cells]
    if not any(name.field == "rpm" for name in named) or sum(map(bool, cells)) < 2:
        return [], []
    if any(_BEGINS_LIKE_A_NUMBER.match(c) for c, n in zip(cells, named, strict=True) if not n[0]):
        return [], []
    findings: list[Finding] = []
    beside = [Block({}, 1)]
    for place, (cell, name) in enumerate(zip(cells, named, strict=True)):
        heading = cell.strip()
        if name.field is None:
            name = headings.pull.numbered(heading)  # noqa: PLW2901 - a second look
        if name.field is None:
            if heading:
                findings.append(_unknown_column(heading, row))
                if _OTHERWISE.search(heading) and _READINGS.search(heading):
                    findings.append(_two_of_a_kind(heading, row))
            continue
        if name.inferred:
            message = f"the column {heading!r} was read as {name.field!r}"
            findings.append(Finding("read-as", message, name.field, row, heading))
        _place(beside, name, place)
    whole = [block for block in beside if "rpm" in block.columns]
    for block in beside:
        if block not in whole:
            twice = next(iter(block.columns))
            message = f"the column {twice} occurs twice under one rpm; keep one, or number them"
            findings.append(Finding("repeated-field", message, twice, row))
    if len(whole) > 1:
        message = f"row {row} has the headings of {len(whole)} pulls side by side"
        findings.append(Finding("several-pulls", message, "pull", row))
    else:
        whole[0].number = 0
    return whole, findings


def _two_of_a_kind(heading: str, row: int) -> Finding:
    message = (
        f"the column {heading!r} seems to hold readings in another correction; keep the columns"
        " that stand in the correction the sheet states, and head them torque or power"
    )
    return Finding("two-corrections", message, None, row, heading)


def _place(beside: list[Block], name: Named, place: int) -> None:
    """Put a column into the pull it belongs to; one that repeats begins the next pull."""
    column = (place, name.unit)
    field_name = str(name.field)
    if name.number is not None:
        speed = beside[0].columns.get("rpm")
        if len(beside) == 1 and set(beside[0].columns) <= {"rpm"}:
            beside[0].number = name.number
        block = next((b for b in beside if b.number == name.number), None)
        if block is None:
            block = Block({} if speed is None else {"rpm": speed}, name.number)
            beside.append(block)
        block.columns.setdefault(field_name, column)
        return
    if field_name in beside[-1].columns:
        beside.append(Block({}, len(beside) + 1))
    beside[-1].columns[field_name] = column


def _units(cells: list[str], beside: list[Block], row: int) -> list[Finding]:
    """Take the row below the headings as their units; nothing is found if it is no such row.

    One unit that is known makes it such a row; what stands beside it and is not known is a fault,
    for a unit that is passed over is a number misread.
    """
    found: list[str] = []
    faults: list[Finding] = []
    for block in beside:
        for name, (place, unit) in block.columns.items():
            text = cells[place].strip().strip("()[]").strip() if place < len(cells) else ""
            if is_missing(text) or text.casefold() in _NO_UNIT:
                continue
            if numerals.plain(text) is not None:
                return []
            if known(text, PULL_FIELDS[name].unit):
                found.append(text)
                block.columns[name] = (place, unit or text)
            else:
                message = f"row {row} gives {text!r} as the unit of {name}, which is not known"
                faults.append(Finding("unknown-unit", message, name, row, text))
    if not found:
        return []
    message = f"row {row} was read as the units of the columns: {', '.join(found)}"
    return [Finding("unit-row", message, None, row), *faults]
