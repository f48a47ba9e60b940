"""The bars of a described chart as SVG."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.drawings import axes
from pullbook.drawings.chart import COLOURS, GREY, INK
from pullbook.drawings.svg_text import text

if TYPE_CHECKING:
    from pullbook.drawings.chart import Bar, Panel

_ROW, _THICK = 26.0, 13.0


def bar_parts(panel: Panel, width: float, font: float, top: float) -> tuple[list[str], float]:
    """Return the bars of a panel with their names, and the height that they take."""
    low, high = axes.lengths(panel)
    left = min(0.34 * width, 9.2 * font)
    scale = (width - left - 16) / (high - low)

    def place(value: float) -> float:
        return left + (value - low) * scale

    parts = [
        text(2, top - 8 + at * 1.25 * font, line, "start")
        for at, line in enumerate(panel.title.split("\n"))
    ]
    begin = top + (len(parts) - 1) * 1.25 * font
    end = begin + _ROW * len(panel.bars)
    for value in axes.ticks(low, high, 5):
        x = place(value)
        kind = f'class="zero" stroke="{GREY}"' if value == 0 else 'class="grid" stroke="#e3e6e8"'
        parts.append(f'<line x1="{x:.1f}" y1="{begin:.1f}" x2="{x:.1f}" y2="{end:.1f}" {kind}/>')
        parts.append(text(x, end + font + 2, f"{value:g}", "middle"))
    for at, bar in enumerate(panel.bars):
        middle = begin + _ROW * (at + 0.5)
        parts += _bar(bar, place(0.0), place(bar.value), middle)
        parts.append(text(left - 8, middle + 0.35 * font, bar.name, "end"))
        if bar.low is not None and bar.high is not None:
            parts.append(
                f'<path class="whisker" fill="none" stroke="{INK}" stroke-width="1.3"'
                f' d="M{place(bar.low):.1f} {middle - 4:.1f}v8m0 -4H{place(bar.high):.1f}m0 -4v8"/>'
            )
    return parts, end - top + font + 8


def _bar(bar: Bar, zero: float, tip: float, middle: float) -> list[str]:
    style = 0 if bar.value >= 0 else 1
    fill = "none" if bar.hollow else COLOURS[style]
    name = "hollow" if bar.hollow else f"s{style}"
    return [
        f'<rect class="bar {name}" x="{min(zero, tip):.1f}" y="{middle - _THICK / 2:.1f}"'
        f' width="{abs(tip - zero):.1f}" height="{_THICK:g}" fill="{fill}" fill-opacity=".8"'
        f' stroke="{INK if bar.hollow else "none"}"/>'
    ]
