"""Letterheads beside a table, in the same rows: taken off, so that no reading is lost."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.layout import heading_rows, letterhead

if TYPE_CHECKING:
    from pullbook.pipeline.layout.letterhead import Labelled
    from pullbook.pipeline.vocabulary.headings import Headings

    Row = tuple[int, list[str]]

_FEWEST = 2


class Parted(NamedTuple):
    """Rows of a table without what stood beside it, and the labels that did."""

    rows: list[Row]
    labels: list[tuple[int, Labelled]]


def part(rows: list[Row], headings: Headings) -> Parted:
    """Take labels with values off the left and the right of tables.

    Parameters
    ----------
    rows
        Row number and cells of every row.
    headings
        The headings that are understood.

    Returns
    -------
    All rows, and the labels with the rows they stood in; nothing is taken where fewer than two
    known labels stand beside a table.

    """
    out = list(rows)
    labels: list[tuple[int, Labelled]] = []
    heads = {
        at: head
        for at, (_, cells) in enumerate(rows)
        if _may_head(cells) and (head := heading_rows.at(rows, at, headings)) is not None
    }
    ends = dict(zip(heads, [*list(heads)[1:], len(rows)], strict=False))
    for at, head in heads.items():
        cells, end = rows[at][1], ends[at]
        if head.rows > 1:
            continue
        places = [place for place, name in enumerate(head.named) if name.field is not None]
        first, last = min(places), max(places)
        if _are_headings(cells[:first], headings):  # builds and readings in one table
            continue
        if first == 0 and all(len(own) <= last + 1 for _, own in rows[at:end]):
            continue
        found: list[tuple[int, Labelled]] = []
        bare: dict[int, Row] = {}
        for place in range(at, end):
            row, own = rows[place]
            left = _known(row, own[:first], headings)
            right = _known(row, own[last + 1 :], headings)
            if left or right:
                kept_left = [""] * first if left else own[:first]
                bare[place] = (row, [*kept_left, *own[first : last + 1],
                                     *([] if right else own[last + 1 :])])  # fmt: skip
                found += [(row, one) for one in (*left, *right)]
        if len(found) >= _FEWEST:
            for place, row_without in bare.items():
                out[place] = row_without
            labels += found
    return Parted(out, labels)


def _are_headings(cells: list[str], headings: Headings) -> bool:
    filled = [cell.strip() for cell in cells if cell.strip()]
    return len(filled) >= _FEWEST and all(headings.sheet(cell).field for cell in filled)


def _may_head(cells: list[str]) -> bool:
    """Return whether a row may be headings: most of its cells are no numbers."""
    return sum(cell[:1].isalpha() for cell in cells) >= _FEWEST


def _known(row: int, cells: list[str], headings: Headings) -> list[Labelled]:
    if not any(cell[:1].isalpha() for cell in cells):
        return []
    found, _ = letterhead.labels([(row, cells)], 0, headings)
    return [one for one in found if one.known and one.value]
