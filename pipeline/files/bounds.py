"""How large a part of a file may be: more costs that file a finding, and never the others.

Far above what sheets hold, and small enough that the slowest reading of each ends in seconds.
"""

from __future__ import annotations

from pullbook.pipeline.files.text_file import UnreadableError
from pullbook.pipeline.values import cells
from pullbook.pipeline.vocabulary.headings import LONGEST

#: Most characters of a line, of a heading, of a cell that is no remark, and of a remark.
LINE, HEADING, CELL, REMARK = 20_000, LONGEST, cells.LONGEST, 8_000
#: Most cells of a row, and most fields of a sheet.
CELLS, FIELDS = 512, 1_000


def check_lines(text: str, name: str) -> None:
    """Check that no line of a text is too long.

    Raises
    ------
    UnreadableError
        One is; the message names its row.

    """
    lines = text.split("\n") if len(text) > LINE else ()
    row = next((row for row, line in enumerate(lines, start=1) if len(line) > LINE), None)
    if row is not None:
        msg = f"Row {row} of {name} has more than {LINE} characters. Split or shorten it."
        raise UnreadableError(msg, "too-long")


def check_row(row: int, given: list[str]) -> None:
    """Check that a row of a table has not too many cells, and none that is too long.

    Raises
    ------
    UnreadableError
        It has.

    """
    if len(given) > CELLS:
        msg = f"Row {row} has {len(given)} cells; the limit is {CELLS}. Split the table."
        raise UnreadableError(msg, "too-large")
    if max(map(len, given), default=0) > REMARK:
        msg = f"A cell in row {row} has more than {REMARK} characters. Shorten it."
        raise UnreadableError(msg, "too-long")
