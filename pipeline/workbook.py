"""Workbooks: the values of every tab, as the texts a person sees."""

from __future__ import annotations

import datetime as dt
import warnings
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from pipeline.sheet import Table
from pipeline.sheet_file import UnreadableError

if TYPE_CHECKING:
    from pathlib import Path


def read(path: Path) -> dict[str, Table]:
    """Return the tabs of a workbook by name in lower case; formulas give their last value.

    Raises
    ------
    UnreadableError
        The file is not a workbook.

    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions that carry no values
            book = openpyxl.load_workbook(path, read_only=True, data_only=True)
            try:
                return {tab.title.strip().casefold(): _table(tab) for tab in book.worksheets}
            finally:
                book.close()
    except (BadZipFile, InvalidFileException, KeyError, ValueError, OSError, EOFError) as fault:
        msg = f"{path.name} cannot be read as a workbook; save it anew as .xlsx"
        raise UnreadableError(msg) from fault


def _table(tab: Any) -> Table:
    rows = [
        (number, [_text(value) for value in values])
        for number, values in enumerate(tab.iter_rows(values_only=True), start=1)
    ]
    rows = [(number, cells) for number, cells in rows if any(cell.strip() for cell in cells)]
    return Table(rows[0][1], rows[1:]) if rows else Table([], [])


def _text(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float() if value.is_integer():
            return str(int(value))
        case dt.datetime():
            return value.date().isoformat()
        case _:
            return str(value)
