"""Breaking a text into lines where one would pause."""

from __future__ import annotations

import re
import textwrap

_PERCENT = re.compile(r"(?<=\d) (?=%)")
_KEPT = "\N{NO-BREAK SPACE}"


def broken(text: str, width: int, indent: str = "", *, whole: bool = False) -> list[str]:
    """Return the lines of a text, broken between words; a number keeps its percent sign.

    A word longer than a line is broken too, unless words, say of a path, are to stay ``whole``.

    >>> broken("in the middle, 90 % limits", 17, "  ")
    ['in the middle,', '  90 % limits']
    """
    lines = textwrap.wrap(
        _PERCENT.sub(_KEPT, text), width, subsequent_indent=indent, break_on_hyphens=False,
        break_long_words=not whole,
    )  # fmt: skip
    return [line.replace(_KEPT, " ") for line in lines]
