"""One pull in a table: its columns, its readings, and the texts around them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import NamedTuple

from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.pipeline.vocabulary.words import is_missing

Row = tuple[int, list[str]]

BEGINS_LIKE_A_NUMBER = re.compile(r"\s*[~(]?\s*[+-]?[.,]?\d")
_SUMMARY = frozenset(
    {"max", "maximum", "peak", "min", "minimum", "avg", "average", "mean", "total", "sum", "std",
     "sd", "median", "mittel", "mittelwert", "promedio", "media", "maximo", "minimo"}
)  # fmt: skip
READ = ("torque", "power")
#: The next page of a sweep goes on within so many steps of speed.
_STEPS_ON = 3.0


class Column(NamedTuple):
    """One column of a pull, as its heading and the row of units below it say.

    Attributes
    ----------
    place
        Position in the row, from 0.
    heading
        The heading as written.
    unit, basis, factor
        As for `column_heading.ColumnHeading`.
    """

    place: int
    heading: str
    unit: str | None = None
    basis: str | None = None
    factor: float = 1.0


@dataclass(slots=True)
class Block:
    """Columns and rows of one pull, or of several pulls with a column that numbers them.

    Attributes
    ----------
    columns
        The columns of each quantity: several where it stands observed and corrected, or in two
        units.
    number
        Number of the pull, from 1, if its place or heading shows it; else 0.
    rows
        Row number in the file and cells of each reading.
    blank
        Positions of columns without a heading.
    title
        The text above its headings.
    texts
        Texts between its readings, each with the number of readings above it.
    """

    columns: dict[str, list[Column]]
    number: int
    rows: list[Row] = field(default_factory=list)
    blank: frozenset[int] = frozenset()
    title: str = ""
    texts: list[tuple[int, str]] = field(default_factory=list)

    def places(self, name: str) -> list[int]:
        """Return the positions of the columns of a quantity."""
        return [column.place for column in self.columns.get(name, ())]


def is_reading(cells: list[str], beside: list[Block]) -> bool:
    """Return whether a row has numbers in the columns and is not a summary of them."""
    for block in beside:
        place = next(iter(block.places("rpm")), -1)
        speed = cells[place].strip() if 0 <= place < len(cells) else ""
        if speed.isdigit():
            return True
        others = [cells[at] for name in READ for at in block.places(name) if at < len(cells)]
        some = any(BEGINS_LIKE_A_NUMBER.match(cell) for cell in others)
        if squash(speed.split()[0] if speed else "").rstrip(":.") in _SUMMARY:
            continue
        if some or (
            BEGINS_LIKE_A_NUMBER.match(speed)
            and (len(speed.split()) <= 2 or any(not is_missing(cell) for cell in others))
        ):
            return True
    return False


def goes_on(before: list[Block], beside: list[Block], below: list[Row]) -> bool:
    """Return whether headings are repeated within a sweep, as on its next page."""
    if len(before) != 1 or len(beside) != 1 or before[0].columns.keys() != beside[0].columns.keys():
        return False
    speeds = [one for row in before[0].rows[-3:] if (one := _speed(row, before[0])) is not None]
    after = next((one for row in below[:2] if (one := _speed(row, beside[0])) is not None), None)
    if after is None or len(speeds) < 2:
        return False
    step = speeds[-1] - speeds[-2]
    return step != 0 and 0 < (after - speeds[-1]) / step <= _STEPS_ON


def _speed(row: Row, block: Block) -> float | None:
    place = block.places("rpm")[0]
    return numerals.plain(row[1][place].strip()) if place < len(row[1]) else None


def restarts(block: Block) -> list[str]:
    """Return the texts within a block after which the speed starts again."""
    found = []
    for at, text in block.texts:
        around = [_speed(row, block) for row in block.rows[max(at - 2, 0) : at + 1]]
        if len(around) == 3 and None not in around:
            one, two, after = around
            if (after - two) * (two - one) < 0:  # type: ignore[operator]
                found.append(text)
    return found
