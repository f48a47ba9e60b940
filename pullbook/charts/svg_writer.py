"""A described chart as SVG, in two shapes: for a desk and, narrower, for a phone.

Colours are attributes, which any viewer understands, and classes, which the page's style sheet
replaces in the dark and in print. There is no script and no style in it, so that it may stand under
the strictest policy.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pullbook.charts import scales, svg_curves
from pullbook.charts.svg_bars import bar_parts
from pullbook.charts.svg_frame import NARROW, WIDE, Frame
from pullbook.charts.svg_text import block, deep, escaped, lines, text
from pullbook.drawings.chart import GREY, Curve, Points

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pullbook.charts.svg_frame import Shape
    from pullbook.drawings.chart import Chart, Mark, Panel

_BETWEEN = 30.0
#: The height of a panel as a share of the shape's, where there are two and where there are many.
_OF_TWO, _OF_MANY, _MANY = 0.72, 0.42, 3
#: Room for the sign of a line in the legend, and for a line of it as a share of its letters.
_SIGN, _KEY_LINE = 34.0, 1.45


def both(chart: Chart) -> str:
    """Return a chart in both shapes; the page's style sheet shows the one that fits."""
    return svg(chart, WIDE) + svg(chart, NARROW)


def svg(chart: Chart, shape: Shape) -> str:
    """Return a chart as an SVG element."""
    parts: list[str] = []
    top = begin = bottom = 12.0 + shape.font
    columns = chart.columns if shape is WIDE else 1
    for start in range(0, len(chart.panels), columns):
        row = chart.panels[start : start + columns]
        if row[0].bars:
            bars, used = bar_parts(row[0], shape.width, shape.font, top)
            parts += bars
            top += used + _BETWEEN
            continue
        frames = _frames(chart, row, top, shape)
        begin = frames[0].top if not start else begin
        for at, (panel, frame) in enumerate(zip(row, frames, strict=True), start):
            parts += _panel(panel, frame, len(parts))
            named = panel.x_title or (chart.x_title if _is_last(chart, at, columns) else "")
            parts += _bottom_axis(frame, named, lone=not panel.x_title)
            if not panel.x_title:
                bottom = frame.top + frame.height
        top = frames[0].top + frames[0].height
        last = any(panel.x_title or _is_last(chart, start + at, columns)
                   for at, panel in enumerate(row))  # fmt: skip
        top += 3.2 * shape.font + 24 if last else _BETWEEN
    if chart.key:
        parts += _key(chart, shape, top - 8)
        top += _key_height(chart, shape)
    label = escaped(chart.alt or chart.title)
    return (
        f'<svg class="chart {shape.name}" viewBox="0 0 {shape.width:g} {top:.0f}"'
        f' width="{shape.width:g}" height="{top:.0f}" role="img" aria-label="{label}"'
        f' data-top="{begin:.0f}" data-bottom="{bottom:.0f}"'
        f' xmlns="http://www.w3.org/2000/svg" font-size="{shape.font:g}"'
        f' font-family="DejaVu Sans, Verdana, Arial, sans-serif">{"".join(parts)}</svg>'
    )


def _is_last(chart: Chart, at: int, columns: int) -> bool:
    """Whether no panel over engine speed stands below this one."""
    below = chart.panels[at + columns :: columns]
    return not any(panel.curves and not panel.x_title for panel in below)


def _frames(chart: Chart, row: Sequence[Panel], top: float, shape: Shape) -> list[Frame]:
    """Return where the panels of a row stand, below the longest of their titles."""
    curved = sum(not panel.bars for panel in chart.panels)
    share = 1.0 if curved == 1 else _OF_TWO if curved < _MANY else _OF_MANY
    right = max((_right_room(panel, shape) for panel in chart.panels), default=shape.right)
    cell = shape.width / (chart.columns if shape is WIDE else 1)
    top += max(deep(_title(panel, shape, cell - 2), shape.font) for panel in row)
    return [
        Frame(
            shape, scales.across(panel, chart), scales.heights(panel), top, share * shape.height,
            at * cell + shape.left, (at + 1) * cell - right,
        )
        for at, panel in enumerate(row)
    ]  # fmt: skip


def _right_room(panel: Panel, shape: Shape) -> float:
    return shape.left if panel.right_title else shape.right


def _line(x1: float, y1: float, x2: float, y2: float, extra: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" {extra}/>'


def _panel(panel: Panel, frame: Frame, number: int) -> Iterator[str]:
    right = replace(frame, y=scales.heights(panel, right=True))
    for at, region in enumerate(panel.regions):
        yield from svg_curves.region(region, frame, f"{frame.shape.name}{number}-{at}")
    yield from _height_axis(panel, frame, right)
    if panel.zero:
        yield _line(frame.left, frame.down(0), frame.edge, frame.down(0),
                    f'class="zero" stroke="{GREY}"')  # fmt: skip
    for curve in panel.curves:
        yield from svg_curves.band(curve, right if curve.right else frame)
    for curve in panel.curves:
        yield from svg_curves.line(curve, right if curve.right else frame)
    for mark in panel.marks:
        yield from svg_curves.mark(mark, right if mark.right else frame)
    for points in panel.points:
        yield from svg_curves.points(points, frame)


def _title(panel: Panel, shape: Shape, width: float) -> list[str]:
    """Return what stands above a panel, in lines."""
    title = panel.title
    if panel.right_title and shape is not WIDE:
        title = f"{panel.title}; {panel.right_title.split(' (')[0]}".replace(" (SAE J1349)", "")
    return lines(title, width, shape.font)


def _height_axis(panel: Panel, frame: Frame, right: Frame) -> Iterator[str]:
    shape, font = frame.shape, frame.shape.font
    for value in scales.ticks(*frame.y, 6):
        y = frame.down(value)
        yield _line(frame.left, y, frame.edge, y, 'class="grid" stroke="#e3e6e8"')
        yield text(frame.left - 6, y + 0.35 * font, f"{value:g}", "end")
    if panel.right_title:
        for value in scales.ticks(*right.y, 6):
            yield text(frame.edge + 6, right.down(value) + 0.35 * font, f"{value:g}", "start")
        if shape is WIDE:
            yield text(frame.edge, frame.top - 8, panel.right_title, "end")
    left = frame.left - shape.left + 2
    title = _title(panel, shape, frame.edge - left)
    start = frame.left - 6 if shape is WIDE else left
    yield from block(start, frame.top - 8 - deep(title, font), title, font)


def _bottom_axis(frame: Frame, title: str, *, lone: bool) -> Iterator[str]:
    """Draw the axis along the bottom; ``lone`` is that of engine speed."""
    bottom, font = frame.top + frame.height, frame.shape.font
    yield _line(frame.left, bottom, frame.edge, bottom, f'class="axis" stroke="{GREY}"')
    share = (frame.edge - frame.left) / frame.shape.width
    most = frame.shape.marks if lone and share > 0.5 else 5
    for value in scales.ticks(*frame.x, most):
        x = frame.across(value)
        yield _line(x, bottom, x, bottom + 4, f'class="axis" stroke="{GREY}"')
        if title:
            yield text(x, bottom + 5 + font, f"{value:g}")
    if title:
        yield text((frame.left + frame.edge) / 2, bottom + 2.3 * font + 6, title)


def _key_rows(chart: Chart, shape: Shape) -> list[tuple[Curve | Points | Mark, list[str]]]:
    room = shape.width - _SIGN
    return [(one, lines(one.name, room, shape.font)) for p in chart.panels for one in p.named]


def _key_height(chart: Chart, shape: Shape) -> float:
    rows = _key_rows(chart, shape)
    return shape.font * _KEY_LINE * len(rows) + sum(deep(words, shape.font) for _, words in rows)


def _key(chart: Chart, shape: Shape, top: float) -> Iterator[str]:
    """Return the legend: a sign, and what it stands for."""
    font = shape.font
    for one, words in _key_rows(chart, shape):
        middle = top - 0.35 * font
        if isinstance(one, Points):
            yield svg_curves.shape(one.shape, one.style, _SIGN / 2, middle)
        elif isinstance(one, Curve):
            frame = Frame(shape, (0, 1), (0, 1), middle - 1, 2, 4, _SIGN - 6)
            sample = replace(one, x=(0.0, 1.0), y=(0.5, 0.5), low=(), high=(), label="")
            yield from svg_curves.line(sample, frame)
        else:
            yield text(_SIGN / 2, top, one.text)
        yield from block(_SIGN, top, words, font)
        top += deep(words, font) + _KEY_LINE * font
