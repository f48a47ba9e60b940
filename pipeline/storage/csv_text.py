"""Tables as csv that no spreadsheet runs anything of, and back as they were."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

from pullbook.pipeline.storage.plain_text import one_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import pandas as pd

#: What a spreadsheet takes for a formula; and numbers, which are none.
_FORMULA = re.compile(r"'*[=+\-@\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"[+-]?[\d.,]+(?:[eE][+-]?\d+)?")


def quoted(cell: str) -> str:
    """Return a cell that no spreadsheet reads as a formula.

    >>> quoted("=1+1"), quoted("-5.2"), quoted("'=1")
    ("'=1+1", '-5.2', "''=1")
    """
    return f"'{cell}" if _is_formula(cell) else cell


def unquoted(cell: str) -> str:
    """Return a cell as it was before `quoted`.

    >>> [unquoted(quoted(cell)) for cell in ("=1+1", "-5.2", "''+a", "'tis")]
    ['=1+1', '-5.2', "''+a", "'tis"]
    """
    return cell[1:] if cell[:1] == "'" and _is_formula(cell[1:]) else cell


def _is_formula(cell: str) -> bool:
    # Blanks before it do not hinder a spreadsheet.
    return _FORMULA.match(cell.lstrip(" ")) is not None and _NUMBER.fullmatch(cell) is None


def text(rows: Iterable[Iterable[object]]) -> str:
    """Return rows as csv; every cell is on one line, hidden characters made visible."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([quoted(one_line(str(cell))) for cell in row] for row in rows)
    return out.getvalue()


def of_table(table: pd.DataFrame, float_format: str | None = None) -> str:
    """Return a table as csv, as `text` does; a missing value is a blank cell."""
    made = table.to_csv(index=False, lineterminator="\n", float_format=float_format)
    return text(csv.reader(io.StringIO(made, newline="")))


def rows(data: str) -> Iterator[list[str]]:
    """Yield the rows of csv that `text` made, their cells as they were.

    Raises
    ------
    csv.Error
        It is no csv.

    """
    for row in csv.reader(io.StringIO(data, newline=""), strict=True):
        yield [unquoted(cell) for cell in row]
