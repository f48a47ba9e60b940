"""The contributor's key of whoever uses this machine."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from pullbook.schemas.errors import must_exist

if TYPE_CHECKING:
    from pathlib import Path

#: Set to ``yes`` to use a key file that other users of the machine can read.
OPEN_KEY = "PULLBOOK_OPEN_KEY"


def key_of(path: Path | None, *, make: bool = False) -> bytes:
    """Return the key in a file; ``None`` means the user's own.

    With ``make``, one is made if there is none.

    Raises
    ------
    KeyFileError
        It cannot be used.
    InputError
        There is none.

    """
    from pullbook.pipeline.privacy import key_file

    path = path or key_file.default_path()
    allowed = os.environ.get(OPEN_KEY, "").casefold() == "yes"
    if make:
        return key_file.make(path, open_to_others=allowed)
    must_exist(path)
    return key_file.read(path, open_to_others=allowed)


def key_if_any() -> bytes | None:
    """Return the user's own key; ``None`` where there is none yet."""
    from pullbook.pipeline.privacy import key_file

    return key_of(None) if key_file.default_path().exists() else None
