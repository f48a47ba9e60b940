r"""Texts of strangers as they are shown: no character in them commands a terminal or hides text.

Control characters, separators that some programs take for the end of a line, and marks that turn
the direction of writing are shown as ``\x1b`` and the like.
"""

from __future__ import annotations

import re
from typing import IO, Any

#: Control characters but for newline and tab; other ends of lines; marks of direction; halves of
#: pairs, which stand for bytes that are no text.
_HIDDEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u2069\ufeff"
    "\ud800-\udfff]"
)
_ENDS = re.compile("[\n\t]")
#: What a library of ours sends a terminal on purpose: colours, and a bar drawn over itself.
_OURS = re.compile("(\x1b\\[[0-9;?]*[A-Za-z]|\r)")
_DELETE = 0x7F


def plain(text: str) -> str:
    r"""Return a text with every hidden character made visible; newlines and tabs stay.

    >>> print(plain("bore\x1b[31m"))
    bore\x1b[31m
    """
    return _HIDDEN.sub(_visible, text)


def one_line(text: str) -> str:
    r"""Return a text as `plain` does, on one line.

    >>> print(one_line("a\nb"))
    a\nb
    """
    return _ENDS.sub(lambda found: {"\n": "\\n", "\t": "\\t"}[found[0]], plain(text))


def _visible(found: re.Match[str]) -> str:
    """Return how a hidden character is shown: from 7f on as JSON would, which it may stand in."""
    number = ord(found[0])
    if found[0] == "\r":
        return "\\r"
    return f"\\x{number:02x}" if number < _DELETE else f"\\u{number:04x}"


class PlainStream:
    """A stream that everything is printed through: what is hidden in a text becomes visible."""

    def __init__(self, stream: IO[str]) -> None:
        """Print to ``stream``."""
        self._stream = stream
        #: Whatever the stream itself can write; other characters are written by their number.
        self.encoding, self.errors = "utf-8", "backslashreplace"

    def write(self, text: str) -> int:
        """Write a text, made plain."""
        self._send(plain(text))
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        """Write several texts."""
        for line in lines:
            self.write(line)

    def _send(self, text: str) -> None:
        able = getattr(self._stream, "encoding", None) or "utf-8"
        self._stream.write(text.encode(able, "backslashreplace").decode(able))

    @property
    def rich_proxied_file(self) -> Any:
        """Where the library for colours and bars writes, which looks for this name."""
        return _Coloured(self._stream) if self._stream.isatty() else self

    def __getattr__(self, name: str) -> Any:
        """Return anything else of the stream; never its bytes, which would pass unseen."""
        if name == "buffer":
            raise AttributeError(name)
        return getattr(self._stream, name)


class _Coloured(PlainStream):
    """A stream to a terminal, for colours and bars that pullbook itself asks for."""

    def write(self, text: str) -> int:
        parts = _OURS.split(text)
        self._send("".join(part if at % 2 else plain(part) for at, part in enumerate(parts)))
        return len(text)

    @property
    def rich_proxied_file(self) -> Any:
        return self
