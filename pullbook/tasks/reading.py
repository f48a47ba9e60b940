"""Read and check many sheets in a process of its own, so that the page goes on answering.

What it is to read comes in as one pickle; each lot of what it read goes out as one.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.settings import shop_settings
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
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
    words = [sys.executable, "-m", "pullbook.tasks.reading"]
    env = {**os.environ, "OMP_NUM_THREADS": "1"}
    with subprocess.Popen(  # noqa: S603 - our own module
        words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=env, start_new_session=True
    ) as process:  # fmt: skip
        try:
            if process.stdin is None or process.stdout is None:
                return
            process.stdin.write(pickle.dumps((list(sources), root)))
            process.stdin.close()
            while True:
                found = pickle.load(process.stdout)  # noqa: S301 - from our own process
                if isinstance(found, InputError):
                    raise found
                yield from found
        except (EOFError, BrokenPipeError, pickle.UnpicklingError):
            return
        finally:
            process.kill()


def main() -> int:
    """Read what standard input asks for; return the exit status."""
    if os.name == "posix":
        os.nice(_LOWER_PRIORITY)  # who waits for a page comes first
    sources, root = pickle.load(sys.stdin.buffer)  # noqa: S301 - from the process that began this
    try:
        for at in range(0, len(sources), _LOT):
            _say([read(source, root) for source in sources[at : at + _LOT]])
    except InputError as fault:
        _say(InputError(str(fault)))
    except BrokenPipeError:  # who asked is gone
        os._exit(1)
    return 0


def _say(found: list[Read] | InputError) -> None:
    sys.stdout.buffer.write(pickle.dumps(found, pickle.HIGHEST_PROTOCOL))
    sys.stdout.buffer.flush()


if __name__ == "__main__":
    sys.exit(main())
