"""Labels and values above a table: in cells, in lines with colons, or as headings over values."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.vocabulary import compound_cells
from pullbook.pipeline.vocabulary.units import spelled
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from pullbook.pipeline.vocabulary.headings import Headings

    Row = tuple[int, list[str]]

#: Phrases of a printed line, which two blanks or more separate.
_PHRASES = re.compile(r"\S+(?:[ ]\S+)*")
#: A label and its colon within a line; a clock time or 9.4:1 is none.
_COLON = re.compile(r"^(?P<label>[^\W\d_][^:=]{0,50}?)\s*[:=]\s*(?P<value>.*)$", re.DOTALL)
_MOST_CELLS = 64
#: Dots that lead from a label to its value: Bore ........ 4.030.
_LEADERS = re.compile(r"(?<!\s)\s*\.{4,}\s*|\s\.{2,}\s+|\s(?:\.\s){3,}\s*")


class Labelled(NamedTuple):
    """A label with its value, and whether the label is known."""

    label: str
    value: str
    known: bool


def labels(rows: list[Row], at: int, headings: Headings) -> tuple[list[Labelled], int]:
    """Return the labels with values that begin in a row, and how many rows they take.

    Parameters
    ----------
    rows
        Row number and cells of every row.
    at
        Position of the row among them.
    headings
        The headings that are understood.

    """
    cells = _cells(rows[at][1], headings)
    if at + 1 < len(rows) and (above := _over_values(cells, rows[at + 1][1], headings)):
        return above, 2
    found: list[Labelled] = []
    place = 0
    while place < len(cells):
        cell = _LEADERS.sub(": ", cells[place].removeprefix("#").strip())
        colon = _COLON.match(cell)
        label = colon["label"].strip() if colon else cell
        known = bool(label) and _is_label(label, headings)
        if not cell or not (known or colon):
            place += 1
            continue
        if colon and colon["value"].strip():
            value, place = _more(colon["value"].strip(), cells, place + 1, headings)
        else:
            value, place = _value(cells, place + 1, label, headings)
        if value or known:
            found.append(Labelled(label, value, known))
    return found, 1


def _cells(cells: list[str], headings: Headings) -> list[str]:
    """Return the cells of a row; a printed line in one cell is taken apart."""
    filled = [cell for cell in cells if cell.strip()]
    if len(filled) != 1:
        return [cell.strip() for cell in cells[:_MOST_CELLS]]
    phrases: list[str] = []
    for phrase in _PHRASES.findall(filled[0].expandtabs().replace("\u00a0", " ")):
        if phrases and (phrase[0] in ":=" or phrases[-1][-1] in ":="):
            phrases[-1] += f" {phrase}"
        else:
            phrases.append(phrase)
    return [part for phrase in phrases for part in _part(phrase, headings)][:_MOST_CELLS]


def _part(phrase: str, headings: Headings) -> list[str]:
    """Part a phrase with several labels: before each colon but the first the longest known one."""
    pieces = phrase.split(": ")
    if len(pieces) <= 2:
        return [phrase]
    parts, label = [], pieces[0]
    for piece in pieces[1:-1]:
        words = piece.split(" ")
        starts = (at for at in range(1, len(words)) if _is_label(" ".join(words[at:]), headings))
        at = next(starts, len(words) - 1)
        parts.append(f"{label}: {' '.join(words[:at]).rstrip(',;')}")
        label = " ".join(words[at:])
    return [*parts, f"{label}: {pieces[-1]}"]


def _is_label(text: str, headings: Headings) -> bool:
    return headings.sheet(text).field is not None or compound_cells.is_compound(text)


def _value(cells: list[str], place: int, label: str, headings: Headings) -> tuple[str, int]:
    """Return the value right of a label: the next cell, and what belongs to it."""
    if place < len(cells) and not cells[place]:  # one blank cell between, as merged cells leave it
        place += 1
    if place >= len(cells) or not cells[place] or _COLON.match(cells[place]):
        return "", place
    value = cells[place]
    field = headings.sheet(label).field
    unit = FIELDS[field].unit if field else ""
    after = place + 1
    if (
        unit
        and after < len(cells)
        and spelled(value.strip("()[]"), unit)
        and (cells[after][:1].isdigit())
    ):  # the unit stands between label and value
        return f"{cells[after]} {value.strip('()[]')}", after + 1
    if unit and after < len(cells) and spelled(cells[after].strip("()[]"), unit):
        return f"{value} {cells[after].strip('()[]')}", after + 1
    return _more(value, cells, after, headings)


def _more(value: str, cells: list[str], place: int, headings: Headings) -> tuple[str, int]:
    """Add the cells up to the next label or blank: a value that held separators itself."""
    while place < len(cells) and cells[place]:
        cell = cells[place]
        if _COLON.match(cell) or _is_label(cell, headings):
            break
        value = f"{value}, {cell}"
        place += 1
    return value, place


def _over_values(cells: list[str], below: list[str], headings: Headings) -> list[Labelled]:
    """Return the pairs of a row of labels over a row of values."""
    filled = [place for place, cell in enumerate(cells) if cell]
    if len(filled) < 2:
        return []
    if not all(_is_label(cells[place], headings) for place in filled):
        return []
    values = [below[place].strip() if place < len(below) else "" for place in filled]
    if not any(values) or any(value and _is_label(value, headings) for value in values):
        return []
    return [
        Labelled(cells[place], value, known=True)
        for place, value in zip(filled, values, strict=True)
    ]
