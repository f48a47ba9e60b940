"""Read workbooks of older and open kinds in a process of their own, with bounded time and memory.

The library that reads them is compiled, and takes what a file claims of its size. Whatever that
costs is cost there.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
import zlib
from contextlib import suppress
from typing import TYPE_CHECKING, Any
from xml.parsers import expat

from pullbook.pipeline.files.text_file import UnreadableError
from pullbook.schemas.errors import PullbookError

if TYPE_CHECKING:
    from collections.abc import Callable

    Row = tuple[int, list[str]]

_SECONDS, _BYTES, _MOST_DIGITS = 10, 250_000_000, 18
#: What a damaged archive, or one of another kind, makes the libraries raise.
_DAMAGES = (
    zipfile.BadZipFile, zlib.error, expat.ExpatError, KeyError, RuntimeError, EOFError, OSError,
    ValueError,
)  # fmt: skip
_CODE = "from pullbook.pipeline.files import workbook; workbook.read_older_here()"
_TOO_MUCH = (
    "The workbook is too large, or claims to be: it takes more than"
    f" {_SECONDS} s or {_BYTES // 1_000_000} MB to read. Save it again as .xlsx, without what lies"
    " far from the sheets."
)


class _TooMuchError(PullbookError):
    """More tabs or cells than are allowed; the text says which."""


def read(data: bytes) -> dict[str, list[Row]]:
    """Return the rows of every tab by title.

    Raises
    ------
    UnreadableError
        It cannot be read, or takes too much.

    """
    try:
        done = subprocess.run(  # noqa: S603 - our own program, no shell
            [sys.executable, "-P", "-c", _CODE],
            input=data,
            capture_output=True,
            timeout=_SECONDS * 3,  # what counts is the processor's time, limited there
            check=False,
        )
        found = json.loads(done.stdout) if done.returncode == 0 else None
    except subprocess.TimeoutExpired as error:
        raise UnreadableError(_TOO_MUCH, "too-large") from error
    except (ValueError, OSError):
        found = None
    if not isinstance(found, dict):
        raise UnreadableError(_TOO_MUCH if done.returncode != 1 else _DAMAGED, "too-large" if
                              done.returncode != 1 else "not-readable")  # fmt: skip
    if "too much" in found:
        raise UnreadableError(found["too much"], "too-large")
    return {title: [(row, cells) for row, cells in rows] for title, rows in found["tabs"]}


_DAMAGED = "The workbook cannot be read. Save it again as .xlsx."


def serve(show: Callable[[object], str], most_tabs: int, most_cells: int, columns: int) -> None:
    """Be that process: read a workbook from standard input, write its tabs to standard output."""
    data = sys.stdin.buffer.read()
    from python_calamine import CalamineWorkbook  # noqa: PLC0415 - only for who has such files

    _limit()
    try:
        _check_claims(data, most_cells)
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        answer: dict[str, Any] = {"tabs": _tabs(book, show, most_tabs, most_cells, columns)}
    except _TooMuchError as fault:
        answer = {"too much": str(fault)}
    except MemoryError:
        answer = {"too much": _TOO_MUCH}
    sys.stdout.write(json.dumps(answer))


def _check_claims(data: bytes, most_cells: int) -> None:
    """Check how many cells an open workbook claims by repeating rows and cells that hold something.

    Where it is far too many the library only says that the file is of no kind that it knows.
    """
    rows, claimed = 1, 0

    def start(tag: str, given: dict[str, str]) -> None:
        nonlocal rows, claimed
        if tag == "table:table-row":
            rows = _repeats(given, "rows")
        elif tag == "table:table-cell" and "office:value-type" in given:
            claimed += rows * _repeats(given, "columns")
            if claimed > most_cells:
                raise _TooMuchError(_too_many(most_cells))

    parser = expat.ParserCreate()
    parser.StartElementHandler = start
    with (
        # Another kind of file, or a damaged one: the library says so.
        suppress(*_DAMAGES),
        zipfile.ZipFile(io.BytesIO(data)) as archive,
        archive.open("content.xml") as part,
    ):
        parser.ParseFile(part)


def _repeats(given: dict[str, str], what: str) -> int:
    text = given.get(f"table:number-{what}-repeated", "1")
    return int(text) if text.isdecimal() and len(text) < _MOST_DIGITS else 1


def _too_many(most_cells: int) -> str:
    return f"The workbook has more than {most_cells} cells. Split it."


def _tabs(
    book: Any, show: Callable[[object], str], most_tabs: int, most_cells: int, columns: int
) -> list[tuple[str, list[Row]]]:
    titles = book.sheet_names
    if len(titles) > most_tabs:
        msg = f"The workbook has {len(titles)} tabs; the limit is {most_tabs}. Split it."
        raise _TooMuchError(msg)
    left = most_cells
    tabs = []
    for title in titles:
        rows = []
        for number, row in enumerate(book.get_sheet_by_name(title).iter_rows(), start=1):
            cells = [show(None if value == "" else value).strip() for value in row[:columns]]
            if any(cells):
                rows.append((number, cells))
                left -= len(cells)
            if left < 0:
                raise _TooMuchError(_too_many(most_cells))
        tabs.append((title, rows))
    return tabs


def _limit() -> None:
    """Limit time and memory, where the system can."""
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return
    for name, most in (("RLIMIT_CPU", _SECONDS), ("RLIMIT_CORE", 0), ("RLIMIT_DATA", _BYTES)):
        if (kind := getattr(resource, name, None)) is not None:
            resource.setrlimit(kind, (most, most))
