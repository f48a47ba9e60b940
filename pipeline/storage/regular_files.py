"""Read files that somebody else may have made: regular files only, and never more than is allowed.

A named pipe would wait for ever, a device could do anything, and a file that grows has no end. So
a file is looked at before it is opened, again once it is open, and read to the size it had then.
"""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

from pullbook.schemas.errors import PullbookError

if TYPE_CHECKING:
    from pathlib import Path

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISLNK, "a link"),
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


class UnusableFileError(PullbookError, OSError):
    """A file that is not read, though it is there; the text says why."""


class TooLargeError(UnusableFileError):
    """A file of more bytes than are allowed."""

    def __init__(self, size: int, most: int) -> None:
        super().__init__(f"it has {size / 1e6:.0f} MB; the limit is {most / 1e6:.0f} MB")
        self.size = size


def kind(mode: int) -> str | None:
    """Return what a file is that is not regular, in words; ``None`` for a regular one.

    >>> kind(stat.S_IFIFO), kind(stat.S_IFREG)
    ('a named pipe', None)
    """
    if stat.S_ISREG(mode):
        return None
    return next((words for test, words in _KINDS if test(mode)), "no file")


def read(path: Path, most: int, *, follow: bool = True) -> bytes:
    """Return the bytes of a regular file.

    Parameters
    ----------
    path
        The file.
    most
        Most bytes that are read.
    follow
        Whether a link to a regular file is read.

    Raises
    ------
    TooLargeError
        It has more bytes than ``most``.
    UnusableFileError
        It is not a regular file, or it grows while it is read.
    OSError
        It cannot be opened or read.

    """
    _check(path.stat() if follow else path.lstat(), most)
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0)
    handle = os.open(path, flags | (0 if follow else getattr(os, "O_NOFOLLOW", 0)))
    with os.fdopen(handle, "rb") as file:
        found = os.fstat(handle)
        _check(found, most)
        data = file.read(found.st_size + 1)
    if len(data) > found.st_size:
        msg = "it is still being written; try again when it is finished"
        raise UnusableFileError(msg)
    return data


def _check(found: os.stat_result, most: int) -> None:
    other = kind(found.st_mode)
    if other is not None:
        msg = f"it is {other}, not a regular file"
        raise UnusableFileError(msg)
    if found.st_size > most:
        raise TooLargeError(found.st_size, most)
