"""A line of text in an SVG: whatever it holds is text and no markup."""

from __future__ import annotations

import html
import re

from pullbook.drawings.chart import INK
from pullbook.words.line_breaks import broken

#: The width of a letter, as a share of the height; of a line, as a share of that.
LETTER, _LINE = 0.58, 1.25
_NO_XML = re.compile(r"[^\x09\x0a\x0d\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def escaped(words: str) -> str:
    """Return a text as it may stand in an element or an attribute.

    >>> escaped('a "b" <c>')
    'a &quot;b&quot; &lt;c&gt;'
    """
    return html.escape(_NO_XML.sub("", words))


def lines(words: str, width: float, font: float) -> list[str]:
    """Return a text in lines that fit a width.

    >>> lines("mean from 2500 to 4500 rpm", 110, 12)
    ['mean from 2500', 'to 4500 rpm']
    """
    fits = max(int(width / (LETTER * font)), 8)
    return [one for line in words.split("\n") for one in broken(line, fits) or [""]]


def block(x: float, y: float, found: list[str], font: float, side: str = "start") -> list[str]:
    """Return lines one below another; the first one stands at the place."""
    return [text(x, y + at * _LINE * font, line, side) for at, line in enumerate(found)]


def deep(found: list[str], font: float) -> float:
    """Return how far lines reach below the first one."""
    return max(len(found) - 1, 0) * _LINE * font


def text(x: float, y: float, words: str, side: str = "middle", extra: str = "") -> str:
    """Return a line of text; ``side`` is which part of it stands at the place."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{side}" fill="{INK}"{extra}>'
        f"{escaped(words)}</text>"
    )
