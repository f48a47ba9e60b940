"""Write files and folders whole or not at all, and on the disk before anything relies on them.

Everything is written beside its place under a name that nobody can guess, made durable, and put in
place in one step. A process that is killed, or a disk that is full, leaves the old state or the
new; a link that was planted where something is written is replaced, never followed.
"""

from __future__ import annotations

import ctypes
import errno
import os
import secrets
import shutil
import stat
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from pullbook.pipeline.storage import locks
from pullbook.schemas.errors import PullbookError

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

#: Ending of what is not yet in its place.
PART = ".part"
_NAME_CHARS = 40
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0)
_HERE, _EXCHANGE = -100, 2


def part_of(path: Path) -> Path:
    """Return a new name beside a file or folder, for what will take its place."""
    return path.with_name(f".{path.name[:_NAME_CHARS]}.{secrets.token_hex(6)}{PART}")


def write(path: Path, data: bytes, *, mode: int = 0o666) -> None:
    """Write a file, and the folder it lies in if need be; one that is there is replaced."""
    part = part_of(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        write_new(part, data, mode=mode)
        part.replace(path)
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise
    sync_folder(path.parent)


def write_text(path: Path, text: str, *, mode: int = 0o666) -> None:
    """Write a text as UTF-8; a file that is there is replaced."""
    write(path, text.encode("utf-8", "backslashreplace"), mode=mode)


def write_new(path: Path, data: bytes, *, mode: int = 0o666) -> None:
    """Write a file that is not there yet, down to the disk; it may be left cut short.

    Raises
    ------
    FileExistsError
        There is something of this name, a link perhaps.

    """
    handle = os.open(path, _NEW, mode)
    try:
        left = memoryview(data)
        while left:
            left = left[os.write(handle, left) :]
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable, where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


class OtherFilesError(PullbookError, OSError):
    """A folder that cannot be replaced, for it holds something that is not ours."""


def write_folder(folder: Path, files: Mapping[str, bytes], *, drop: Collection[str] = ()) -> None:
    """Write all files of a folder in one step; a folder that is there is replaced.

    Parameters
    ----------
    folder
        The folder, created if needed.
    files
        Contents by name; a name may have folders in it.
    drop
        Names that go with the old state, if they are not written anew. What else lies in the
        folder stays.

    Raises
    ------
    OtherFilesError
        Another folder lies in it, which cannot be kept in the same step.

    """
    folder = Path(os.path.realpath(folder))
    folder.parent.mkdir(parents=True, exist_ok=True)
    with locks.beside(folder):
        _clear(folder)
        others = _others(folder, {name.split("/")[0] for name in files} | set(drop))
        part = part_of(folder)
        part.mkdir()
        try:
            for name, data in files.items():
                (part / name).parent.mkdir(parents=True, exist_ok=True)
                write_new(part / name, data)
            for other in others:
                os.link(other, part / other.name, follow_symlinks=False)
            for own in {part, *((part / name).parent for name in files)}:
                sync_folder(own)
            _put(part, folder)
        finally:
            shutil.rmtree(part, ignore_errors=True)
        sync_folder(folder.parent)


def _clear(folder: Path) -> None:
    """Remove what runs that were killed left beside a folder."""
    for left in folder.parent.glob(f".{folder.name[:_NAME_CHARS]}.*{PART}"):
        if stat.S_ISDIR(left.lstat().st_mode):
            shutil.rmtree(left, ignore_errors=True)


def _others(folder: Path, own: set[str]) -> list[Path]:
    """Return the files of a folder that are not among those to be written."""
    others = [] if not folder.exists() else [p for p in folder.iterdir() if p.name not in own]
    inner = next((p.name for p in others if stat.S_ISDIR(p.lstat().st_mode)), None)
    if inner is not None:
        msg = f"it holds the folder {inner!r}; name another folder to write to"
        raise OtherFilesError(errno.EEXIST, msg, str(folder))
    return others


def _put(part: Path, folder: Path) -> None:
    try:
        part.rename(folder)  # there is none yet, or an empty one
    except OSError as error:
        if error.errno not in (errno.ENOTEMPTY, errno.EEXIST):
            raise
    else:
        return
    if not exchange(part, folder):
        old = part_of(folder)
        folder.rename(old)
        part.rename(folder)
        shutil.rmtree(old, ignore_errors=True)


def exchange(one: Path, other: Path) -> bool:
    """Exchange two names in one step; return whether the system can."""
    if not sys.platform.startswith("linux"):
        return False
    call = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if call is None:
        return False
    return bool(call(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) == 0)
