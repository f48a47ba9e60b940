"""A line of text in an SVG: whatever it holds is text and no markup."""

from __future__ import annotations

import html
import re

from pullbook.drawings.chart import INK

_NO_XML = re.compile(r"[^\x09\x0a\x0d\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def escaped(words: str) -> str:
    """Return a text as it may stand in an element or an attribute.

    >>> escaped('a "b" <c>')
    'a &quot;b&quot; &lt;c&gt;'
    """
    return html.escape(_NO_XML.sub("", words))


def text(x: float, y: float, words: str, side: str = "middle", extra: str = "") -> str:
    """Return a line of text; ``side`` is which part of it stands at the place."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{side}" fill="{INK}"{extra}>'
        f"{escaped(words)}</text>"
    )
