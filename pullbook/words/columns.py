"""Rows of cells in columns that a terminal holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.words.line_breaks import broken

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Characters of a line that every terminal holds.
WIDTH = 79
#: Characters of a line of a heading, at least: where there is room, and where there is little.
_HEADINGS = (9, 6)


def columns(
    first: str, names: Sequence[str], heads: Sequence[str], rows: Sequence[Sequence[str]]
) -> list[str]:
    """Return a table under broken headings, without columns that are empty.

    Parameters
    ----------
    first
        The heading of the names.
    names
        The name of each row; names that are too long stand above their numbers.
    heads, rows
        Headings and cells, numbers to the right; a last column of words to the left.

    """
    shown = [at for at in range(len(heads)) if any(row[at] for row in rows)]
    cells = [[row[at] for at in shown] for row in rows]
    titles = [heads[at] for at in shown]
    longest = max(map(len, names))
    tried = [_widths(titles, cells, least) for least in _HEADINGS]
    fits = [one for one in tried if longest + _long(one) <= WIDTH]
    inline = bool(fits)
    widths = (fits or [one for one in tried if _long(one) <= WIDTH] or tried[-1:])[0]
    side = ">" if all(_is_number(row[-1]) for row in cells) else "<"
    room = max(longest, len(first)) if inline else 0
    lines = _headings(titles, widths, side, f"{first:{room}}"[:room])
    for name, row in zip(names, cells, strict=True):
        if inline:
            lines.append(f"{name:{room}}{_line(row, widths, side)}".rstrip())
        else:
            lines += [*broken(name, WIDTH, "  "), _line(row, widths, side).rstrip()]
    return lines


def _is_number(cell: str) -> bool:
    return cell.lstrip("+-").isdigit()


def _widths(heads: Sequence[str], cells: Sequence[Sequence[str]], least: int) -> list[int]:
    """Return the width of each column: of its cells, of the longest word over it, or the least."""
    return [
        max(*(len(row[at]) for row in cells), *map(len, head.split()), min(len(head), least))
        for at, head in enumerate(heads)
    ]


def _long(widths: Sequence[int]) -> int:
    """Return the length of a line of columns."""
    return sum(widths) + 2 * len(widths)


def _headings(heads: Sequence[str], widths: Sequence[int], side: str, first: str) -> list[str]:
    """Return headings broken over as many lines as they need, the last just above the cells."""
    stacks = [broken(head, width) for head, width in zip(heads, widths, strict=True)]
    deep = max(map(len, stacks))
    rows = zip(*([""] * (deep - len(one)) + one for one in stacks), strict=True)
    *above, last = (_line(row, widths, side) for row in rows)
    return [*(f"{'':{len(first)}}{row}".rstrip() for row in above), first + last]


def _line(row: Sequence[str], widths: Sequence[int], side: str) -> str:
    """Return cells in their columns, numbers to the right and the last to the given side."""
    *numbers, last = row
    cells = "".join(f"  {n:>{w}}" for n, w in zip(numbers, widths, strict=False))
    return f"{cells}  {last:{side}{widths[-1]}}".rstrip()
