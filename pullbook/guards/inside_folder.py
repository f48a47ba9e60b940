"""No name from a request reaches the disk outside the person's folder."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

_LONGEST = 120
_PLAIN = re.compile(r"[^\w. ()+,=@-]+")
#: Names that some systems keep for themselves.
_KEPT = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


class OutsideError(InputError):
    """A name that would lead out of the folder."""


def plain_name(given: str) -> str:
    r"""Return a file's name without anything that could be a path or hidden.

    >>> plain_name("../../etc/passwd"), plain_name("C:\\x\\pull 3.csv"), plain_name("..")
    ('passwd', 'pull 3.csv', 'file')
    """
    last = unicodedata.normalize("NFC", given).replace("\\", "/").rsplit("/", 1)[-1]
    name = _PLAIN.sub("-", last).strip(" .-")[-_LONGEST:].strip(" .-")
    return f"file-{name}" if _KEPT.fullmatch(name) else name or "file"


def inside(folder: Path, *names: str) -> Path:
    """Return the path of a file or folder below a folder.

    Raises
    ------
    OutsideError
        It would be outside, whatever links there are on the way.

    """
    top = folder.resolve()
    path = top.joinpath(*map(plain_name, names))
    if path.is_symlink() or not path.resolve().is_relative_to(top):
        msg = f"{path.name!r} leads out of the folder {folder}"
        raise OutsideError(msg)
    return path
