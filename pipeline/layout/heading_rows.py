"""Rows of headings above a pull: one row, or two of which the upper spans the lower."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.vocabulary import column_heading
from pullbook.pipeline.vocabulary.headings import NOTHING

if TYPE_CHECKING:
    from pullbook.pipeline.vocabulary.headings import Headings, Named

    Row = tuple[int, list[str]]

_NUMBER = re.compile(r"\s*[+-]?[.,]?\d")
_QUANTITIES = ("torque", "power")
_FEWEST = 2


class HeadingRow(NamedTuple):
    """The headings of a table.

    Attributes
    ----------
    cells
        The headings as written; of two rows, joined.
    named
        What each names.
    rows
        How many rows they take.
    """

    cells: list[str]
    named: list[Named]
    rows: int


def at(rows: list[Row], place: int, headings: Headings) -> HeadingRow | None:
    """Return the headings that begin in a row; ``None`` if it has none.

    Parameters
    ----------
    rows
        Row number and cells of every row.
    place
        Position of the row among them.
    headings
        The headings that are understood.

    """
    cells = rows[place][1]
    one = _named([cell.strip() for cell in cells], headings, 1)
    if one is not None and not _repeats(one) and all(one.cells):
        return one
    if place + 1 < len(rows) and (joined := _join(cells, rows[place + 1][1])) is not None:
        two = _named(joined, headings, 2)
        if two is not None and (one is None or _quantities(two) > _quantities(one)):
            return two
    return one


def _quantities(head: HeadingRow) -> int:
    """Return how many different columns of torque and power there are."""
    return len({name[:2] + name[3:5] for name in head.named if name.field in _QUANTITIES})


def _named(cells: list[str], headings: Headings, rows: int) -> HeadingRow | None:
    if sum(map(bool, cells)) < _FEWEST:
        return None
    named = [_name(cell, headings) for cell in cells]
    fields = {name.field for name in named}
    if "rpm" not in fields or fields.isdisjoint(_QUANTITIES):
        return None
    places = [place for place, name in enumerate(named) if name.field]
    within = range(min(places), max(places) + 1)
    for place, cell in enumerate(cells):
        beside = place not in within and place > 0 and cells[place - 1][:1].isalpha()
        if not named[place].field and _NUMBER.match(cell) and not beside:
            return None  # a number beside a label, left or right of the table, does no harm
    return HeadingRow(cells, named, rows)


def _name(cell: str, headings: Headings) -> Named:
    if not cell:
        return NOTHING
    named = headings.pull(cell)
    return named if named.field is not None else headings.pull.numbered(cell)


def _repeats(head: HeadingRow) -> bool:
    """Return whether one heading stands there twice for one rpm: a second row may part them."""
    speeds = sum(name.field == "rpm" for name in head.named)
    seen = [n[:2] + n[3:5] for n in head.named if n.field in _QUANTITIES]
    return speeds == 1 and len(seen) > len(set(seen))


def _is_quantity(text: str) -> bool:
    named = column_heading.read(text)
    return named is not None and named.field in _QUANTITIES


def _is_speed(text: str) -> bool:
    named = column_heading.read(text)
    return named is not None and named.field == "rpm"


def _join(upper: list[str], lower: list[str]) -> list[str] | None:
    """Return two rows of headings as one; a heading above holds for blank cells to its right."""
    if any(_NUMBER.match(cell) for cell in (*upper, *lower)) or not any(lower):
        return None
    filled = [cell for cell in upper if cell.strip()]
    if len(filled) == 1 and _is_quantity(filled[0]):  # a caption over the whole table
        return [below.strip() if _is_speed(below) else f"{filled[0].strip()} {below.strip()}"
                for below in lower]  # fmt: skip
    joined, above = [], ""
    for place, below in enumerate(lower):
        over = upper[place].strip() if place < len(upper) else ""
        above = over or above
        joined.append(f"{above} {below.strip()}".strip() if below.strip() or over else "")
    return joined
