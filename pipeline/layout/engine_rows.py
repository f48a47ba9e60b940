"""Tables with one row an engine: its fields, and a column for each speed, as TQ@2500."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.layout.raw_fields import add_field, take_name
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.pipeline.vocabulary import column_heading
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Decision, Finding

if TYPE_CHECKING:
    from pullbook.pipeline.vocabulary.headings import Headings

    Row = tuple[int, list[str]]

#: TQ@2500, Torque 2500 rpm, lb-ft @ 3000, 2500 rpm TQ, 2500.
_AT_SPEED = re.compile(
    r"^(?P<before>[^\d@]{0,40}?)\s*@?\s*(?P<rpm>\d{3,5})\s*(?P<unit>rpm|u/min|1/min|/min)?\s*"
    r"(?P<after>[^\d@]{0,40})$",
    re.IGNORECASE,
)
_FEWEST_SPEEDS, _FEWEST_FIELDS = 5, 2
_MOST_SHOWN = 3
#: Most characters of such a heading.
_LONGEST = 100


class AtSpeed(NamedTuple):
    """A column of one quantity at one engine speed."""

    place: int
    rpm: str
    quantity: str | None
    heading: str


def _at_speed(place: int, heading: str) -> AtSpeed | None:
    plain = " ".join(heading.split())  # or runs of blanks could be split in very many ways
    found = None if len(plain) > _LONGEST else _AT_SPEED.match(plain)
    if found is None:
        return None
    words = f"{found['before']} {found['after']}".strip(" ()[]:,-_")
    if not words or words.casefold() == "at":
        return AtSpeed(place, found["rpm"], None, heading)
    named = column_heading.read(words)
    if named is None or named.field == "rpm":
        return None
    return AtSpeed(place, found["rpm"], words, heading)


def sheets_of(rows: list[Row], source: str, headings: Headings) -> list[RawSheet] | None:
    """Return the sheets of a table with one row an engine; ``None`` if rows are no such table.

    Parameters
    ----------
    rows
        Row number and cells of every row that is not blank.
    source
        The file, for findings.
    headings
        The headings that are understood.

    """
    sheets: list[RawSheet] = []
    head: _Head | None = None
    for at, (row, cells) in enumerate(rows):
        if (begins := _head(cells, rows[:at], headings)) is not None:
            head = begins  # headings that come again hold for what follows
        elif head is not None and any(cells[p].strip() for p in head.named if p < len(cells)):
            sheets.append(_sheet(row, cells, head, source, headings))
    return sheets if head is not None else None


class _Head(NamedTuple):
    """A row of headings: its cells, the speeds and fields among them, the quantity above them."""

    cells: list[str]
    speeds: list[AtSpeed]
    named: list[int]
    caption: str | None


def _head(cells: list[str], above: list[Row], headings: Headings) -> _Head | None:
    speeds = [found for p, cell in enumerate(cells) if (found := _at_speed(p, cell))]
    if len(speeds) < _FEWEST_SPEEDS:
        return None
    named = [p for p, cell in enumerate(cells) if headings.sheet(cell.strip()).field]
    if len(named) < _FEWEST_FIELDS:
        return None
    return _Head(cells, speeds, named, _caption(above))


def _caption(rows: list[Row]) -> str | None:
    """Return the quantity that a row above the headings names for all columns."""
    for _, cells in reversed(rows):
        for cell in cells:
            named = column_heading.read(cell)
            if named is not None and named.field != "rpm":
                return cell.strip()
    return None


def _sheet(row: int, own: list[str], head: _Head, source: str, headings: Headings) -> RawSheet:
    heads, speeds = head.cells, head.speeds
    sheet = RawSheet(f"row {row}", source, headings=headings)
    at_speed = {one.place for one in speeds}
    others = {p for p, heading in enumerate(heads) if heading.strip()} - at_speed
    for place, heading in enumerate(heads):
        text = own[place].strip() if place < len(own) else ""
        if place not in at_speed and heading.strip() and text:
            add_field(sheet, heading.strip(), text, row)
    take_name(sheet)
    sheet.table = _table(row, own, speeds, head.caption)
    if not sheet.table:
        sheet.findings.append(_no_quantity(row, speeds))
    if any(text.strip() for text in own[len(heads) :]):
        sheet.findings.append(_long_row(row, own[len(heads) :]))
    if len(own) - 1 in at_speed and any(place >= len(own) for place in others):
        sheet.findings.append(_short_row(row, own[-1].strip(), heads[len(own) - 1].strip()))
    return sheet


def _table(row: int, own: list[str], speeds: list[AtSpeed], caption: str | None) -> list[Row]:
    """Return the pull of an engine's row as a table with one row a speed."""
    quantities = list(dict.fromkeys(one.quantity or caption for one in speeds))
    if None in quantities:
        return []
    table: dict[str, list[str]] = {}
    for one in speeds:
        text = own[one.place].strip() if one.place < len(own) else ""
        cells = table.setdefault(one.rpm, [one.rpm, *[""] * len(quantities)])
        cells[1 + quantities.index(one.quantity or caption)] = text
    body = [(row, cells) for cells in table.values() if any(cells[1:])]
    return [(row, ["rpm", *map(str, quantities)]), *body] if body else []


def _long_row(row: int, beyond: list[str]) -> Finding:
    text = next(text.strip() for text in beyond if text.strip())
    message = (
        f"Row {row} has more cells than there are headings ({text!r} has none). A decimal comma or"
        " a cell too many moves the others: put each where it belongs."
    )
    return Finding("more-cells-than-headings", message, None, row, text)


def _short_row(row: int, last: str, heading: str) -> Finding:
    message = (
        f"Row {row} has fewer cells than there are headings. Its last, {last!r}, was taken as"
        f" {heading!r}: if a cell is missing before it, it belongs further right."
    )
    return Finding("fewer-cells-than-headings", message, None, row, last)


def _no_quantity(row: int, speeds: list[AtSpeed]) -> Finding:
    shown = ", ".join(repr(one.heading) for one in speeds[:_MOST_SHOWN])
    message = (
        f"The columns {shown} ... do not say whether they are torque or power. Head them"
        " 'torque @ 2500' or 'power @ 2500'."
    )
    decision = Decision(
        f"are the columns {shown} ... torque or power?",
        tuple(
            "headings: {" + ", ".join(f'"{o.heading}": {q} @ {o.rpm}' for o in speeds) + "}"
            for q in ("torque", "power") if q in PULL_FIELDS
        ),
    )  # fmt: skip
    return Finding("no-quantity", message, None, row, None, decision)
