"""Breaking a text into lines where one would pause."""

from __future__ import annotations

import re
import textwrap

#: Spaces that no line ends at: before a percent sign, and in a standard in brackets.
_TOGETHER = re.compile(r"(?<=\d) (?=%)|(?<=\(SAE) |(?<=\(DIN) |(?<=\(ISO) ")
_KEPT = "\N{NO-BREAK SPACE}"


def broken(text: str, width: int, indent: str = "", *, whole: bool = False) -> list[str]:
    """Return the lines of a text, broken between words; what goes together stays so.

    A word longer than a line is broken too, unless words, say of a path, are to stay ``whole``.

    >>> broken("in the middle, 90 % limits", 17, "  ")
    ['in the middle,', '  90 % limits']
    >>> broken("torque, lb-ft (SAE J1349)", 19)
    ['torque, lb-ft', '(SAE J1349)']
    """
    lines = textwrap.wrap(
        _TOGETHER.sub(_KEPT, text), width, subsequent_indent=indent, break_on_hyphens=False,
        break_long_words=not whole,
    )  # fmt: skip
    return [line.replace(_KEPT, " ") for line in lines]
