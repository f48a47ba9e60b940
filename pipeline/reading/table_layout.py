"""Find the pulls in a table: their headings, side by side or one below the other, and other text.

A table is what a dyno printed: perhaps a title, then headings, a row of units, readings and a
summary; and the same again for the next pull, below or beside it.
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
#: Headings of a second torque or power column, in another correction than the first.
_OTHERWISE = re.compile(r"corr|obs|raw|stp|std|sae|din|iso|measured", re.IGNORECASE)
_READINGS = re.compile(r"tor|tq|trq|pow|hp|kw", re.IGNORECASE)


@dataclass(slots=True)
class Block:
    """Columns and rows of one pull, or of several pulls with a column that numbers them.

    Attributes
    ----------
    columns
        Position and unit of each column, by the name of its field.
    number
        Number of the pull, from 1, if its place or heading shows it; else 0.
    rows
        Row number in the file and cells of each reading.
    """

    columns: dict[str, tuple[int, str | None]]
    number: int
    rows: list[Row] = field(default_factory=list)


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
    width = 0
    for row, cells in rows:
        if beside and not beside[0].rows and (in_units := _read_units(cells, beside, row)):
            findings += in_units
        elif beside and _is_reading(cells, beside):
            beside[0].rows.append((row, cells))
            if len(cells) > width and (extra := _check_extra_cells(row, cells[width:])):
                findings.append(extra)
        elif (found := _read_headings(cells, row, headings))[0]:
            if beside:
                message = f"The headings in row {row} start another pull."
                findings.append(Finding("several-pulls", message, "pull", row))
            beside, in_headings = found
            for block in beside:
                block.number += len(done) if done or len(beside) > 1 else 0
            for block in beside[1:]:
                block.rows = beside[0].rows  # pulls side by side share their rows
            done += beside
            findings += in_headings
            width = len(cells)
        else:
            text = " ".join(cell.strip() for cell in cells if cell.strip())[:60]
            message = f"Text in row {row} was left out: {text!r}."
            findings.append(Finding("text-left-out", message, None, row, text))
    if not done:
        findings += _report_unknown(rows)
    return done, findings


def _report_unknown(rows: list[Row]) -> list[Finding]:
    """Report the headings of a table in which none is known: the cells above the first numbers."""
    for (row, cells), (_, below) in pairwise(rows):
        if len(below) > 1 and all(_BEGINS_LIKE_A_NUMBER.match(c) for c in below if c.strip()):
            return [_unknown_column(cell.strip(), row) for cell in cells if cell.strip()]
    return []


def _unknown_column(heading: str, row: int) -> Finding:
    message = f"Column {heading!r} is not a column of a pull; it was left out."
    return Finding("unknown-column", message, heading, row)


def _is_reading(cells: list[str], beside: list[Block]) -> bool:
    """Return whether a row has numbers in the columns and is not a summary of them."""
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


def _check_extra_cells(row: int, cells: list[str]) -> Finding | None:
    filled = [cell for cell in cells if cell.strip()]
    if not any(_BEGINS_LIKE_A_NUMBER.match(cell) for cell in filled):
        return None
    message = (
        f"There are more cells than headings in row {row} ({filled[0]!r}). If decimals have commas,"
        " put semicolons between the cells or quotation marks around them."
    )
    return Finding("more-cells-than-headings", message, None, row, filled[0])


def _read_headings(
    cells: list[str], row: int, headings: Headings
) -> tuple[list[Block], list[Finding]]:
    """Return the pulls side by side under a row of headings; none if the row has no headings."""
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
                    findings.append(_second_correction(heading, row))
            continue
        if name.inferred:
            message = f"Column {heading!r} was read as {name.field!r}."
            findings.append(Finding("read-as", message, name.field, row, heading))
        _add_column(beside, name, place)
    whole = [block for block in beside if "rpm" in block.columns]
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


def _second_correction(heading: str, row: int) -> Finding:
    message = (
        f"Column {heading!r} seems to be in another correction. Keep only the columns in the"
        " correction the sheet states, and head them torque or power."
    )
    return Finding("two-corrections", message, None, row, heading)


def _add_column(beside: list[Block], name: Named, place: int) -> None:
    """Add a column to the pull it belongs to; a repeated column starts the next pull."""
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


def _read_units(cells: list[str], beside: list[Block], row: int) -> list[Finding]:
    """Read the row below the headings as their units; return no findings if it is not such a row.

    One known unit makes it a row of units. Other texts in it are then faults, because a number
    with an ignored unit would be misread.
    """
    found: list[str] = []
    unknown: list[Finding] = []
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
                message = f"The unit {text!r} of {name} in row {row} is not known. Correct it."
                unknown.append(Finding("unknown-unit", message, name, row, text))
    if not found:
        return []
    message = f"The columns got their units from row {row}: {', '.join(found)}."
    return [Finding("unit-row", message, None, row), *unknown]
