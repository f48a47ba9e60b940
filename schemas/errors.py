"""Errors of pullbook's own: what a user can mend, and what is a fault of the program.

Everything that is raised on purpose comes from `PullbookError`. The command line turns an
`InputError` into one sentence and exit status 2; anything else that reaches it is a fault of the
program, which it writes to a log.
"""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path


class PullbookError(Exception):
    """Any error that pullbook raises on purpose."""


class InputError(PullbookError, ValueError):
    """Something a user gave that cannot be used; the message says what, and what to do.

    Parameters
    ----------
    message
        What was found, what is allowed and what to do next, in one sentence.
    file, row, field
        Where, as far as it is known; they come before the message.

    >>> str(InputError("bore 99 in is outside 1 to 9 in", file="a.csv", row=4))
    'a.csv, row 4: bore 99 in is outside 1 to 9 in'
    """

    def __init__(
        self,
        message: str,
        *,
        file: str | Path | None = None,
        row: int | None = None,
        field: str | None = None,
    ) -> None:
        self.file, self.row, self.field = file, row, field
        known = (
            None if file is None else str(file),
            None if row is None else f"row {row}",
            field,
        )
        where = ", ".join(part for part in known if part is not None)
        super().__init__(f"{where}: {message}" if where else message)


def not_there(path: str | Path) -> str:
    """Return what is said of a file or folder that is not there, the same everywhere."""
    return f"{path} does not exist"


def must_exist(path: Path) -> None:
    """Raise if there is no such file or folder.

    Raises
    ------
    InputError
        It does not exist.

    """
    if not path.exists():
        raise InputError(not_there(path))


def did_you_mean(given: str, known: Iterable[str]) -> str:
    """Return a question that names the nearest of the known words, or nothing.

    >>> did_you_mean("Intake duraton", ["intake_duration", "intake_lift"])
    ' Did you mean intake_duration?'
    >>> did_you_mean("weather", ["bore"])
    ''
    """
    plain = {_plain(word): word for word in known}
    near = difflib.get_close_matches(_plain(given), plain, n=1, cutoff=0.75)
    return f" Did you mean {plain[near[0]]}?" if near else ""


def _plain(word: str) -> str:
    return word.casefold().replace(" ", "_").replace("-", "_")
