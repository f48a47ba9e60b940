"""What tells files from the same ones before they changed, without opening them."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    Mark = tuple[str, int, int, int]

#: Of more than so many, a walk over all costs more than it saves.
_MOST = 20_000


def mark(path: Path) -> Mark:
    """Return path, mode, time and size of a file; zeros where it is not there."""
    try:
        seen = os.stat(path)  # noqa: PTH116 - of thousands, for each page
    except OSError:
        return str(path), 0, 0, 0
    return str(path), seen.st_mode, seen.st_mtime_ns, seen.st_size


def below(folder: Path) -> frozenset[Mark] | None:
    """Return the marks of all that is below a folder and not hidden.

    ``None`` where there is too much, a link, or something that cannot be looked at: it may change
    unseen.
    """
    found: list[Mark] = []
    folders = [os.fspath(folder)]
    try:
        while folders:
            with os.scandir(folders.pop()) as entries:
                for one in entries:
                    if one.name.startswith("."):  # no sheet is looked for there
                        continue
                    seen = one.stat(follow_symlinks=False)
                    if one.is_symlink() or len(found) >= _MOST:
                        return None
                    if one.is_dir(follow_symlinks=False):
                        folders.append(one.path)
                    found.append((one.path, seen.st_mode, seen.st_mtime_ns, seen.st_size))
    except OSError:
        return None
    return frozenset(found)
