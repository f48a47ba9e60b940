"""Tables that lie on their side: the speeds in one row, torque and power in the rows below it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.vocabulary import numerals

if TYPE_CHECKING:
    from pullbook.pipeline.vocabulary.headings import Headings

    Row = tuple[int, list[str]]

_FEWEST = 5
_QUANTITIES = ("torque", "power")


def upright(rows: list[Row], headings: Headings) -> list[Row]:
    """Return rows with tables that lie on their side set upright; others are left as they are."""
    out: list[Row] = []
    at = 0
    while at < len(rows):
        row, cells = rows[at]
        if not _is_row_of(cells, headings, ("rpm",)):
            out.append(rows[at])
            at += 1
            continue
        lines = [cells]
        at += 1
        while at < len(rows) and _is_row_of(rows[at][1], headings, _QUANTITIES):
            lines.append(rows[at][1])
            at += 1
        width = max(map(len, lines))
        columns = [[line[place] if place < len(line) else "" for line in lines]
                   for place in range(width)]  # fmt: skip
        out += [(row, column) for column in columns if any(cell.strip() for cell in column)]
    return out


def _is_row_of(cells: list[str], headings: Headings, fields: tuple[str, ...]) -> bool:
    """Return whether a row is a heading of one of these quantities, and then numbers alone."""
    if len(cells) <= _FEWEST or headings.pull(cells[0].strip()).field not in fields:
        return False
    filled = [cell.strip() for cell in cells[1:] if cell.strip()]
    return len(filled) >= _FEWEST and all(numerals.read(cell) is not None for cell in filled)
