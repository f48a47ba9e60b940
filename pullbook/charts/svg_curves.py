"""Curves, points and marks of a described chart as SVG."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pullbook.charts.svg_frame import WIDE
from pullbook.charts.svg_text import LETTER, text
from pullbook.drawings.chart import BETWEEN, COLOURS, GREY, INK

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.charts.svg_frame import Frame
    from pullbook.drawings.chart import Curve, Mark, Points, Region

#: The longest name beside a line.
_LONGEST = 30
#: How far above a point its name stands, and its number in a legend.
_NAME, _NUMBER = 9, 13
#: Half the size of a point.
_SIZE = 4.0


def colour(style: int) -> tuple[str, str]:
    """Return the class and the colour of a style."""
    if style < 0:
        return ("between", GREY) if style == BETWEEN else ("ink", INK)
    return f"s{style}", COLOURS[style]


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


def band(curve: Curve, frame: Frame) -> Iterator[str]:
    """Return the limits of a curve."""
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


def line(one: Curve, frame: Frame) -> Iterator[str]:
    """Return a curve with its dots and its label."""
    name, stroke = colour(one.style)
    lengths = " ".join(f"{length:g}" for length in one.dashes)
    dash = f' stroke-dasharray="{lengths}"' if lengths else ""
    known: list[int] = []
    for run in _runs(one):
        known += run
        points = [(frame.across(one.x[at]), frame.down(one.y[at])) for at in run]
        if one.joined:
            yield (
                f'<path class="curve {name}" d="{_path(points)}" fill="none" stroke="{stroke}"'
                f' stroke-width="{one.thick:g}" stroke-linejoin="round"{dash}/>'
            )
        for x, y in points if one.dots else ():
            yield _dot(x, y, name, stroke)
    if one.label and known:
        yield _label(one, known, frame)


def _dot(x: float, y: float, name: str, fill: str) -> str:
    return f'<circle class="mark {name}" cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{fill}"/>'


def _label(curve: Curve, known: list[int], frame: Frame) -> str:
    """Return a curve's label, clear of the curve over the whole width of its words."""
    room = frame.shape is WIDE and len(curve.named) <= _LONGEST
    words, font = (room and curve.named) or curve.label, frame.shape.font
    half = LETTER * font * len(words) / 2
    at = known[int(curve.at * (len(known) - 1))]
    x = min(max(frame.across(curve.x[at]), frame.left + half), frame.edge - half)
    near = [frame.down(curve.y[one]) for one in known if abs(frame.across(curve.x[one]) - x) < half]
    near.append(frame.down(curve.y[at]))
    under = min(max(near) + font + 5, frame.top + frame.height - 4)
    y = under if curve.below else max(min(near) - 7, frame.top + font)
    return text(x, y, words, extra=f' class="label {colour(curve.style)[0]}"')


def mark(one: Mark, frame: Frame) -> Iterator[str]:
    """Return a named point."""
    name, stroke = colour(one.style)
    x, y = frame.across(one.x), frame.down(one.y)
    yield _dot(x, y, name, stroke)
    if one.text:
        words = one.text if frame.shape is WIDE else one.text.removesuffix(" rpm")
        up = _NUMBER if one.name else _NAME
        yield text(x, max(y - up, frame.top + frame.shape.font - 4), words, one.side,
                   f' class="label {name}"')  # fmt: skip


def points(found: Points, frame: Frame) -> Iterator[str]:
    """Return points of one kind, and the cross of limits of the first."""
    if found.limits is not None:
        left, right = (frame.across(end) for end in found.limits[:2])
        low, high = (frame.down(end) for end in found.limits[2:])
        x, y = frame.across(found.x[0]), frame.down(found.y[0])
        yield (
            f'<path class="whisker" fill="none" stroke="{INK}" stroke-width="1"'
            f' d="M{left:.1f} {y - 4:.1f}v8m0 -4H{right:.1f}m0 -4v8'
            f'M{x - 4:.1f} {low:.1f}h8m-4 0V{high:.1f}m-4 0h8"/>'
        )
    for x, y in zip(found.x, found.y, strict=True):
        if math.isfinite(x) and math.isfinite(y):
            yield shape(found.shape, found.style, frame.across(x), frame.down(y))


def shape(kind: str, style: int, x: float, y: float) -> str:
    """Return a point of a shape: ``circle``, ``cross``, ``triangle`` or ``star``."""
    name, stroke = colour(style)
    half = _SIZE
    if kind == "circle":
        return _dot(x, y, name, stroke)
    if kind == "cross":
        return (
            f'<path class="sign {name}" fill="none" stroke="{stroke}" stroke-width="1.6" d="M'
            f"{x - half:.1f} {y - half:.1f}l{2 * half:g} {2 * half:g}m0 {-2 * half:g}"
            f'l{-2 * half:g} {2 * half:g}"/>'
        )
    corners = _TRIANGLE if kind == "triangle" else _STAR
    path = _path([(x + half * across, y + half * down) for across, down in corners])
    return f'<path class="mark {name}" fill="{stroke}" d="{path}Z"/>'


_TRIANGLE = ((0.0, -1.2), (1.1, 0.9), (-1.1, 0.9))
_STAR = tuple(
    (
        (2.2 if tip % 2 == 0 else 0.9) * math.sin(tip * math.pi / 5),
        -(2.2 if tip % 2 == 0 else 0.9) * math.cos(tip * math.pi / 5),
    )
    for tip in range(10)
)


def region(marked: Region, frame: Frame, name: str) -> Iterator[str]:
    """Return engine speeds that are marked; ``name`` is no other region's in the drawing."""
    left, right = (
        min(max(frame.across(one), frame.left), frame.edge) for one in (marked.left, marked.right)
    )
    place = (
        f'x="{left:.1f}" y="{frame.top:.1f}" width="{max(right - left, 0):.1f}"'
        f' height="{frame.height:.1f}"'
    )
    if not marked.hatched:
        yield f'<rect class="chosen" {place} fill="{GREY}" fill-opacity=".12"/>'
        return
    yield (
        f'<pattern id="h-{name}" width="7" height="7" patternUnits="userSpaceOnUse"'
        ' patternTransform="rotate(45)"><line class="hatch" x1="0" y1="0" x2="0" y2="7"'
        ' stroke="#b4b9bd" stroke-width="1.2"/></pattern>'
        f'<rect class="untested" {place} fill="url(#h-{name})"/>'
    )
    if marked.text and right - left > frame.shape.font:
        x, y = (left + right) / 2 + 4, frame.top + frame.height - 8
        yield text(x, y, marked.text, "start",
                   f' class="label soft" transform="rotate(-90 {x:.1f} {y:.1f})"')  # fmt: skip
