"""A described chart as SVG, in two shapes: for a desk and, narrower, for a phone.

Colours are attributes, which any viewer understands, and classes, which the page's style sheet
replaces in the dark and in print. There is no script and no style in it, so that it may stand under
the strictest policy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.drawings import axes
from pullbook.drawings.chart import COLOURS, GREY, INK, dashes
from pullbook.drawings.svg_bars import bar_parts
from pullbook.drawings.svg_text import escaped, text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.drawings.chart import Chart, Curve, Mark, Panel, Region

_BAR, _BETWEEN = 26.0, 30.0
#: The width of a letter, as a share of the height; and the longest name beside a line.
_LETTER, _LONGEST = 0.58, 30


@dataclass(frozen=True, slots=True)
class Shape:
    """Sizes of a drawing, in its own units, of which a browser shows one a pixel at full size."""

    name: str
    width: float
    height: float
    left: float
    right: float
    font: float
    marks: int


WIDE = Shape("wide", 760, 330, 58, 18, 13, 9)
NARROW = Shape("narrow", 344, 236, 44, 18, 12, 5)


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a panel stands, and how numbers become places in it."""

    shape: Shape
    x: tuple[float, float]
    y: tuple[float, float]
    top: float
    height: float
    right_room: float

    @property
    def left(self) -> float:
        """The left edge."""
        return self.shape.left

    @property
    def edge(self) -> float:
        """The right edge."""
        return self.shape.width - self.right_room

    def across(self, x: float) -> float:
        """Return the place of an engine speed."""
        low, high = self.x
        return self.left + (x - low) / ((high - low) or 1.0) * (self.edge - self.left)

    def down(self, y: float) -> float:
        """Return the place of a height."""
        low, high = self.y
        return self.top + self.height - (y - low) / ((high - low) or 1.0) * self.height


def both(chart: Chart) -> str:
    """Return a chart in both shapes; the page's style sheet shows the one that fits."""
    return svg(chart, WIDE) + svg(chart, NARROW)


def svg(chart: Chart, shape: Shape) -> str:
    """Return a chart as an SVG element."""
    parts: list[str] = []
    top = begin = bottom = 12.0 + shape.font
    room = max((_right_room(panel, shape) for panel in chart.panels), default=shape.right)
    curved = [panel for panel in chart.panels if not panel.bars]
    for panel in chart.panels:
        if panel.bars:
            bars, used = bar_parts(panel, shape.width, shape.font, top)
            parts += bars
            top += used + _BETWEEN
            continue
        height = shape.height if len(curved) == 1 else 0.72 * shape.height
        frame = Frame(shape, chart.speeds, axes.heights(panel), top, height, room)
        parts += _panel(panel, frame, len(parts))
        last = panel is curved[-1]
        parts += _speed_axis(frame, chart.x_title if last else "")
        bottom = top + height
        top += height + (3.2 * shape.font + 24 if last else _BETWEEN)
    label = escaped(chart.alt or chart.title)
    return (
        f'<svg class="chart {shape.name}" viewBox="0 0 {shape.width:g} {top:.0f}"'
        f' width="{shape.width:g}" height="{top:.0f}" role="img" aria-label="{label}"'
        f' data-top="{begin:.0f}" data-bottom="{bottom:.0f}"'
        f' xmlns="http://www.w3.org/2000/svg" font-size="{shape.font:g}"'
        f' font-family="DejaVu Sans, Verdana, Arial, sans-serif">{"".join(parts)}</svg>'
    )


def _right_room(panel: Panel, shape: Shape) -> float:
    return shape.left if panel.right_title else shape.right


def line(x1: float, y1: float, x2: float, y2: float, extra: str) -> str:
    """Return a straight line."""
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" {extra}/>'


def _panel(panel: Panel, frame: Frame, number: int) -> Iterator[str]:
    right = Frame(frame.shape, frame.x, axes.heights(panel, right=True), frame.top, frame.height,
                  frame.right_room)  # fmt: skip
    for at, region in enumerate(panel.regions):
        yield from _region(region, frame, f"{frame.shape.name}{number}-{at}")
    yield from _height_axis(panel, frame, right)
    if panel.zero:
        yield line(frame.left, frame.down(0), frame.edge, frame.down(0),
                   f'class="zero" stroke="{GREY}"')  # fmt: skip
    for curve in panel.curves:
        yield from _band(curve, right if curve.right else frame)
    for curve in panel.curves:
        yield from _curve(curve, right if curve.right else frame)
    for mark in panel.marks:
        yield from _mark(mark, right if mark.right else frame)


def _height_axis(panel: Panel, frame: Frame, right: Frame) -> Iterator[str]:
    font = frame.shape.font
    for value in axes.ticks(*frame.y, 6):
        y = frame.down(value)
        yield line(frame.left, y, frame.edge, y, 'class="grid" stroke="#e3e6e8"')
        yield text(frame.left - 6, y + 0.35 * font, f"{value:g}", "end")
    if panel.right_title:
        for value in axes.ticks(*right.y, 6):
            yield text(frame.edge + 6, right.down(value) + 0.35 * font, f"{value:g}", "start")
        if frame.shape is WIDE:
            yield text(frame.edge, frame.top - 8, panel.right_title, "end")
    title = panel.title
    if panel.right_title and frame.shape is not WIDE:
        title = f"{panel.title}; {panel.right_title.split(' (')[0]}".replace(" (SAE J1349)", "")
    yield text(frame.left - 6 if frame.shape is WIDE else 2, frame.top - 8, title, "start")


def _speed_axis(frame: Frame, title: str) -> Iterator[str]:
    bottom, font = frame.top + frame.height, frame.shape.font
    yield line(frame.left, bottom, frame.edge, bottom, f'class="axis" stroke="{GREY}"')
    for value in axes.ticks(*frame.x, frame.shape.marks):
        x = frame.across(value)
        yield line(x, bottom, x, bottom + 4, f'class="axis" stroke="{GREY}"')
        if title:
            yield text(x, bottom + 5 + font, f"{value:g}")
    if title:
        yield text((frame.left + frame.edge) / 2, bottom + 2.3 * font + 6, title)


def colour(style: int) -> tuple[str, str]:
    """Return the class and the colour of a style."""
    return ("ink", INK) if style < 0 else (f"s{style}", COLOURS[style])


def _runs(curve: Curve) -> list[list[int]]:
    """Return the places of a curve in unbroken runs."""
    found: list[list[int]] = [[]]
    for at, value in enumerate(curve.y):
        if math.isfinite(value):
            found[-1].append(at)
        elif found[-1]:
            found.append([])
    return [run for run in found if run]


def _path(points: list[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)


def _band(curve: Curve, frame: Frame) -> Iterator[str]:
    name, stroke = colour(curve.style)
    for run in _runs(curve) if curve.low else ():
        up = [(frame.across(curve.x[at]), frame.down(curve.high[at])) for at in run]
        back = [(frame.across(curve.x[at]), frame.down(curve.low[at])) for at in reversed(run)]
        if curve.filled:
            yield (
                f'<path class="band {name}" d="{_path([*up, *back])}Z" fill="{stroke}"'
                ' fill-opacity=".15"/>'
            )
        dashed = "" if curve.filled else ' stroke-dasharray="6 3"'
        for edge in (up, back):
            yield (
                f'<path class="edge {name}" d="{_path(edge)}" fill="none" stroke="{stroke}"'
                f' stroke-width=".8"{dashed}/>'
            )


def _curve(curve: Curve, frame: Frame) -> Iterator[str]:
    name, stroke = colour(curve.style)
    lengths = " ".join(f"{length:g}" for length in dashes(curve.style))
    dash = f' stroke-dasharray="{lengths}"' if lengths else ""
    known: list[int] = []
    for run in _runs(curve):
        known += run
        points = [(frame.across(curve.x[at]), frame.down(curve.y[at])) for at in run]
        yield (
            f'<path class="curve {name}" d="{_path(points)}" fill="none" stroke="{stroke}"'
            f' stroke-width="2.4" stroke-linejoin="round"{dash}/>'
        )
    if curve.label and known:
        yield _label(curve, known, frame)


def _label(curve: Curve, known: list[int], frame: Frame) -> str:
    """Return a curve's label, clear of the curve over the whole width of its words."""
    room = frame.shape is WIDE and len(curve.named) <= _LONGEST
    words, font = (room and curve.named) or curve.label, frame.shape.font
    half = _LETTER * font * len(words) / 2
    at = known[int(curve.at * (len(known) - 1))]
    x = min(max(frame.across(curve.x[at]), frame.left + half), frame.edge - half)
    near = [frame.down(curve.y[one]) for one in known if abs(frame.across(curve.x[one]) - x) < half]
    near.append(frame.down(curve.y[at]))
    y = max(near) + font + 5 if curve.below else max(min(near) - 7, frame.top + font)
    return text(x, y, words, extra=f' class="label {colour(curve.style)[0]}"')


def _mark(mark: Mark, frame: Frame) -> Iterator[str]:
    name, stroke = colour(mark.style)
    x, y = frame.across(mark.x), frame.down(mark.y)
    yield f'<circle class="mark {name}" cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{stroke}"/>'
    if mark.text:
        words = mark.text if frame.shape is WIDE else mark.text.removesuffix(" rpm")
        yield text(x, max(y - 9, frame.top + frame.shape.font - 4), words, mark.side,
                   f' class="label {name}"')  # fmt: skip


def _region(region: Region, frame: Frame, name: str) -> Iterator[str]:
    left, right = (
        min(max(frame.across(one), frame.left), frame.edge) for one in (region.left, region.right)
    )
    place = (
        f'x="{left:.1f}" y="{frame.top:.1f}" width="{max(right - left, 0):.1f}"'
        f' height="{frame.height:.1f}"'
    )
    if not region.hatched:
        yield f'<rect class="chosen" {place} fill="{GREY}" fill-opacity=".12"/>'
        return
    yield (
        f'<pattern id="h-{name}" width="7" height="7" patternUnits="userSpaceOnUse"'
        ' patternTransform="rotate(45)"><line class="hatch" x1="0" y1="0" x2="0" y2="7"'
        ' stroke="#b4b9bd" stroke-width="1.2"/></pattern>'
        f'<rect class="untested" {place} fill="url(#h-{name})"/>'
    )
    if region.text and right - left > frame.shape.font:
        x, y = (left + right) / 2 + 4, frame.top + frame.height - 8
        yield text(x, y, region.text, "start",
                   f' class="label soft" transform="rotate(-90 {x:.1f} {y:.1f})"')  # fmt: skip
