"""Read a file as text; its encoding is detected, so nobody has to name it."""

from __future__ import annotations

import codecs
import re
from typing import TYPE_CHECKING

from pullbook.pipeline.storage import regular_files
from pullbook.schemas.errors import InputError
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

#: Most bytes of a file with one sheet, and of a file with a table of many.
SHEET_BYTES, TABLE_BYTES = 16_000_000, 512_000_000

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
#: Characters that do not occur in text.
_NOT_TEXT = re.compile(r"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")
_LATIN = "\u0250"


class UnreadableError(InputError):
    """A file that cannot be read as text or as a workbook."""

    def __init__(self, message: str, code: str = "not-readable") -> None:
        super().__init__(message)
        self.finding = Finding(code, message)


def contents(path: Path, most: int) -> bytes:
    """Return the bytes of a file.

    Raises
    ------
    UnreadableError
        It is not a regular file, cannot be opened, or has more than ``most`` bytes.

    """
    try:
        return regular_files.read(path, most)
    except regular_files.TooLargeError as error:
        msg = (
            f"{path.name} has {error.size / 1e6:.0f} MB; the limit is {most / 1e6:.0f} MB. Split it"
            " into several files."
        )
        raise UnreadableError(msg, "too-large") from error
    except OSError as error:
        msg = f"{path.name} cannot be read: {error.strerror or error}"
        raise UnreadableError(msg) from error


def read(path: Path, most: int = SHEET_BYTES) -> tuple[str, list[Finding]]:
    r"""Return a file's text, with ``\n`` at the line ends, and a note if it is not UTF-8.

    Reads UTF-8 and UTF-16, with or without a byte order mark, and Windows-1252.

    Raises
    ------
    UnreadableError
        The file is not text, or cannot be read.

    """
    data = contents(path, most)
    text, encoding = _decode(data)
    if text is None or _NOT_TEXT.search(text):
        msg = f"{path.name} is not text. Save it as UTF-8 and try again."
        raise UnreadableError(msg)
    notes = []
    if encoding != "utf-8":
        message = f"{path.name} is not UTF-8; it was read as {encoding.upper()}."
        notes.append(Finding("encoding", message, value=encoding))
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text, notes


def _decode(data: bytes) -> tuple[str | None, str]:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return _decode_strictly(data[len(mark) :], encoding), encoding
    if b"\0" in data:
        # Every second byte of Latin text in UTF-16 is zero; which of the two shows the byte order.
        encoding = "utf-16-le" if data[1:2] == b"\0" else "utf-16-be"
        return _decode_strictly(data, encoding), encoding
    text = _decode_strictly(data, "utf-8")
    if text is not None:
        return text, "utf-8"
    return _decode_strictly(data, "cp1252"), "windows-1252"


def _decode_strictly(data: bytes, encoding: str) -> str | None:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        return None
    # Binary data decoded as UTF-16 gives letters of many scripts.
    if encoding.startswith("utf-16") and sum(c < _LATIN for c in text) < len(text) / 2:
        return None
    return text
