"""Read and check many sheets in a process of its own, so that the page goes on answering."""

from __future__ import annotations

import multiprocessing
import os
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.settings import shop_settings
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from multiprocessing.connection import Connection
    from pathlib import Path

    from pullbook.pipeline.values.sheet import RawSheet, Sheet

    #: A source, and its sheets as text and checked.
    Read = tuple[Path, list[tuple[RawSheet, Sheet]]]

#: Sources whose sheets go out together: few enough that a count of them grows before one's eyes.
_LOT = 20
_LOWER_PRIORITY = 10


def read(source: Path, root: Path) -> Read:
    """Read and check the sheets of one source below a folder.

    Raises
    ------
    InputError
        A settings file has a mistake.

    """
    settings = shop_settings.beside(source, [root])
    return source, list(checked_sheets.of_source(source, check_sheet.SHEET_RULES, settings))


def beside(sources: Sequence[Path], root: Path) -> Iterator[Read]:
    """Yield the sheets of each source as they are read in another process.

    Fewer come where that process ends early; who asks reads the others.

    Raises
    ------
    InputError
        A settings file has a mistake.

    """
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_read_lots, args=(theirs, root), daemon=True)
    process.start()
    theirs.close()  # so that its end is the end of what comes
    try:
        ours.send(list(sources))  # as an argument, many would wait for ever for one that ended
        while True:
            found = ours.recv()
            if isinstance(found, InputError):
                raise found
            yield from found
    except (EOFError, OSError):
        return
    finally:
        ours.close()
        process.kill()


def _read_lots(asks: Connection, root: Path) -> None:
    """Send what is read of the sources that come, lot by lot, or the mistake of a settings file."""
    if os.name == "posix":
        os.nice(_LOWER_PRIORITY)  # who waits for a page comes first
    sources = asks.recv()
    try:
        for at in range(0, len(sources), _LOT):
            asks.send([read(source, root) for source in sources[at : at + _LOT]])
    except InputError as fault:
        asks.send(InputError(str(fault)))
    except BrokenPipeError:  # who asked is gone
        return
