"""Read and check many sheets in a process of its own, so that the page goes on answering."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.settings import shop_settings
from pullbook.tasks import process_beside

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from pullbook.pipeline.values.sheet import RawSheet, Sheet

    #: A source, and its sheets as text and checked.
    Read = tuple[Path, list[tuple[RawSheet, Sheet]]]

#: Sources whose sheets go out together: few enough that a count of them grows before one's eyes.
_LOT = 20


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
    for lot in process_beside.each(_lots, list(sources), root):
        yield from lot


def _lots(say: Callable[[list[Read]], None], sources: Sequence[Path], root: Path) -> None:
    for at in range(0, len(sources), _LOT):
        say([read(source, root) for source in sources[at : at + _LOT]])
