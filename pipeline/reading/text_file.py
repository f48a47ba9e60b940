"""A file's bytes as text, whatever wrote it: the encoding is found out, never asked for."""

from __future__ import annotations

import codecs
import re
import stat
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

#: Most bytes of a file that carries one sheet, and of one that carries a table of many.
SHEET_BYTES, TABLE_BYTES = 16_000_000, 512_000_000

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
#: Characters that no text holds.
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
        It is no ordinary file, cannot be opened, or is larger than ``most`` bytes.

    """
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            msg = f"{path.name} is not an ordinary file"
            raise UnreadableError(msg)
        if found.st_size > most:
            msg = f"{path.name} has {found.st_size / 1e6:.0f} MB; at most {most / 1e6:.0f} are read"
            raise UnreadableError(msg, "too-large")
        return path.read_bytes()
    except OSError as fault:
        msg = f"{path.name} cannot be read: {fault.strerror or fault}"
        raise UnreadableError(msg) from fault


def read(path: Path, most: int = SHEET_BYTES) -> tuple[str, list[Finding]]:
    r"""Return a file's text, its lines ended by ``\n``, and a note if its encoding was inferred.

    UTF-8 and UTF-16, with a byte order mark or without, and Windows-1252.

    Raises
    ------
    UnreadableError
        The bytes are no text, or cannot be had.

    """
    data = contents(path, most)
    text, encoding = _decode(data)
    if text is None or _NOT_TEXT.search(text):
        msg = f"{path.name} is not text; save it as UTF-8 and try again"
        raise UnreadableError(msg)
    notes = []
    if encoding != "utf-8":
        message = f"{path.name} is not UTF-8: it was read as {encoding.upper()}"
        notes.append(Finding("encoding", message, value=encoding))
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text, notes


def _decode(data: bytes) -> tuple[str | None, str]:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return _strictly(data[len(mark) :], encoding), encoding
    if b"\0" in data:
        # Every second byte of Latin text in UTF-16 is nought; which, tells the order.
        encoding = "utf-16-le" if data[1:2] == b"\0" else "utf-16-be"
        return _strictly(data, encoding), encoding
    text = _strictly(data, "utf-8")
    if text is not None:
        return text, "utf-8"
    return _strictly(data, "cp1252"), "windows-1252"


def _strictly(data: bytes, encoding: str) -> str | None:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        return None
    # Noise read as UTF-16 makes letters of every script on earth.
    if encoding.startswith("utf-16") and sum(c < _LATIN for c in text) < len(text) / 2:
        return None
    return text
