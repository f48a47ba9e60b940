"""Columns whose headings are not understood: named, asked about, or refused."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import TYPE_CHECKING

from pullbook.pipeline.layout.pull_block import BEGINS_LIKE_A_NUMBER, READ
from pullbook.pipeline.vocabulary import column_heading, numerals
from pullbook.schemas.findings import Decision, Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.layout.pull_block import Block, Row
    from pullbook.pipeline.vocabulary.headings import Headings


def without_heading(block: Block) -> Iterator[Finding]:
    """Columns of numbers beside a pull's that have no heading: of what, nobody says."""
    taken = {column.place for own in block.columns.values() for column in own}
    for name in (*READ, "rpm"):
        beside = {side for place in block.places(name) for side in (place - 1, place + 1)}
        for place in sorted((beside & block.blank) - taken):
            cells = {row: own[place] for row, own in block.rows
                     if place < len(own) and BEGINS_LIKE_A_NUMBER.match(own[place])}  # fmt: skip
            counted = place < min(taken) and _counts(list(cells.values()))
            if len(cells) > len(block.rows) / 2 and not counted:
                taken.add(place)
                message = (
                    f"The column of numbers beside {name} has no heading; it was left out. If it is"
                    " torque or power, head it with its unit."
                )
                yield Finding("column-without-heading", message, name, min(cells))


def _counts(texts: list[str]) -> bool:
    """Return whether numbers rise or fall by equal steps, as a row's number or time does."""
    known = [number for text in texts if (number := numerals.plain(text.strip())) is not None]
    steps = {round(after - before, 6) for before, after in pairwise(known)}
    return len(known) == len(texts) and len(steps) == 1


def of_no_pull(rows: list[Row], headings: Headings) -> list[Finding]:
    """Report the headings of a table in which none is known: the cells above the first numbers."""
    for (row, cells), (_, below) in pairwise(rows):
        if len(below) > 1 and all(BEGINS_LIKE_A_NUMBER.match(c) for c in below if c.strip()):
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
        f"The columns beside rpm in row {row} ({named}) are not understood as torque or power. Name"
        " them in their headings, or in your settings file."
    )
    decision = Decision(
        f"are {named} torque or power?",
        tuple(
            "headings: {" + ", ".join(f'"{one}": {quantity} {at}' for at, one in
                                      enumerate(columns, 1)) + "}"
            for quantity in READ
        ),
    )  # fmt: skip
    return Finding("no-quantity", message, None, row, None, decision)


def not_understood(heading: str, row: int) -> Iterator[Finding]:
    """A column that is left out; one that may be a reading must not be, in silence."""
    quantity = column_heading.may_be_reading(heading)
    if quantity is None:
        yield _unknown_column(heading, row)
        return
    message = (
        f"Column {heading!r} may be {quantity}, in another correction or of another run, and its"
        " heading is not understood. Head it like the others, or say in your settings file what it"
        " is."
    )
    name = json.dumps(heading, ensure_ascii=False)
    decision = Decision(
        f"what is in the column {heading!r}?",
        (f"headings: {{{name}: {quantity} (corrected)}}",
         f"headings: {{{name}: {quantity} (observed)}}",
         f"ignore: {{columns: [{name}]}}"),
    )  # fmt: skip
    yield Finding("two-corrections", message, heading, row, heading, decision)


def _unknown_column(heading: str, row: int) -> Finding:
    message = f"Column {heading!r} is not a column of a pull; it was left out."
    return Finding("unknown-column", message, heading, row)
