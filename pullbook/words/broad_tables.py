"""Whether a table fits a phone: a broad one becomes a list for each of its rows there."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Letters that fit side by side on a phone, of all columns together, one between them for each.
_FITS_A_PHONE = 46
#: A cell of fewer letters stays on one line.
SHORT = 14


def is_broad(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> bool:
    """Return whether the columns of a table do not fit a phone side by side.

    >>> is_broad(["rpm", "torque"], [["3000", "341"]])
    False
    >>> is_broad(["parts", *"abcdef"], [["short", *["100 to 120"] * 6]])
    True
    """
    columns = zip(headings, zip(*rows, strict=True), strict=True)
    return bool(rows) and sum(1 + _least(heading, cells) for heading, cells in columns) > (
        _FITS_A_PHONE
    )


def _least(heading: str, cells: Sequence[str]) -> int:
    """Return the letters of a column at its narrowest."""
    kept = [[cell] if len(cell) < SHORT else cell.split() for cell in cells]
    return max(map(len, [*heading.split(), *(part for parts in kept for part in parts)]), default=0)
