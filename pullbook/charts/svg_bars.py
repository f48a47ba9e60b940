"""The bars of a described chart as SVG."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.charts import scales
from pullbook.charts.svg_text import LETTER, block, deep, lines, text
from pullbook.drawings.chart import COLOURS, GREY, INK

if TYPE_CHECKING:
    from collections.abc import Callable

    from pullbook.drawings.chart import Bar, Panel

_ROW, _THICK, _WIDE = 26.0, 13.0, 21.0


def bar_parts(panel: Panel, width: float, font: float, top: float) -> tuple[list[str], float]:
    """Return the bars of a panel with their names, and the height that they take."""
    low, high = scales.lengths(panel)
    left = _room(panel, width, font)
    names = [lines(bar.name, left - 8, font) for bar in panel.bars]
    row = max(_ROW, max(deep(name, font) for name in names) + 1.4 * font)
    scale = (width - left - 16) / (high - low)

    def place(value: float) -> float:
        return left + (value - low) * scale

    title = lines(panel.title, width, font)
    parts = block(2, top - 8, title, font)
    begin = top + deep(title, font)
    end = begin + row * len(panel.bars)
    for value in scales.ticks(low, high, 5):
        x = place(value)
        kind = f'class="zero" stroke="{GREY}"' if value == 0 else 'class="grid" stroke="#e3e6e8"'
        parts.append(f'<line x1="{x:.1f}" y1="{begin:.1f}" x2="{x:.1f}" y2="{end:.1f}" {kind}/>')
        parts.append(text(x, end + font + 2, f"{value:g}", "middle"))
    for at, bar in enumerate(panel.bars):
        middle = begin + row * (at + 0.5)
        parts += _bar(bar, place, middle)
        high = middle + 0.35 * font - deep(names[at], font) / 2
        parts += block(left - 8, high, names[at], font, "end")
        if bar.low is not None and bar.high is not None:
            parts.append(
                f'<path class="whisker" fill="none" stroke="{INK}" stroke-width="1.3"'
                f' d="M{place(bar.low):.1f} {middle - 4:.1f}v8m0 -4H{place(bar.high):.1f}m0 -4v8"/>'
            )
    return parts, end - top + font + 8


def _room(panel: Panel, width: float, font: float) -> float:
    """Return the room for the names of bars, a third of the width at most."""
    longest = max(len(bar.name) for bar in panel.bars)
    return min(max(longest * LETTER * font, 5.0 * font) + 12, 0.36 * width)


def _bar(bar: Bar, place: Callable[[float], float], middle: float) -> list[str]:
    style = 0 if bar.value >= 0 else 1
    name = "hollow" if bar.hollow else f"s{style}"
    fill = "none" if bar.hollow else COLOURS[style]
    edge = INK if bar.hollow else "none"
    drawn = [(bar.value, _THICK, f'class="bar {name}" fill="{fill}" fill-opacity=".8"')]
    if bar.behind is not None:
        drawn.insert(0, (bar.behind, _WIDE, f'class="bar {name}" fill="{fill}" fill-opacity=".3"'))
    return [
        f'<rect {look} x="{min(place(0.0), place(length)):.1f}" y="{middle - thick / 2:.1f}"'
        f' width="{abs(place(length) - place(0.0)):.1f}" height="{thick:g}" stroke="{edge}"/>'
        for length, thick, look in drawn
    ]
