"""One writer at a time: the lock of a folder that keeps records, or of a file or folder itself."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: The lock in a folder, and how long another run is waited for, s.
LOCK, PATIENCE = ".lock", 600.0


class BusyError(InputError, TimeoutError):
    """Another run is writing there and does not finish."""


@contextmanager
def inside(folder: Path) -> Iterator[None]:
    """Be the only one that writes into a folder.

    Raises
    ------
    BusyError
        Another does not finish, or the lock is something that nobody can hold.

    """
    with _held(folder / LOCK, folder):
        yield


@contextmanager
def beside(path: Path) -> Iterator[None]:
    """Be the only one that writes a file, or replaces a folder; see `inside`."""
    with _held(path.with_name(f".{path.name}{LOCK}"), path):
        yield


@contextmanager
def _held(lock: Path, what: Path) -> Iterator[None]:
    from filelock import FileLock, Timeout  # noqa: PLC0415 - only needed to write

    if lock.is_symlink() or (lock.exists() and not lock.is_file()):
        msg = f"{lock} is not a lock of pullbook's: remove it and try again"
        raise BusyError(msg)
    held = FileLock(lock, timeout=PATIENCE, is_singleton=True)  # may be held already
    try:
        held.acquire()
    except Timeout as error:
        msg = f"another run is still writing to {what}; wait for it, then try again"
        raise BusyError(msg) from error
    try:
        yield
    finally:
        held.release()
