"""Limits and marks of axes: round numbers, the same whoever writes the chart."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pullbook.drawings.chart import Chart, Panel

#: Room above and below the curves, as a share of their height.
_ROOM = 0.06
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round numbers between two others, at most so many.

    >>> ticks(2000, 6500, 6), ticks(-3.2, 11, 5)
    ([2000.0, 3000.0, 4000.0, 5000.0, 6000.0], [0.0, 5.0, 10.0])
    """
    span = max(high - low, 1e-9)
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(
        step * power for step in (*_STEPS, 20.0, 25.0, 50.0) if span / (step * power) <= most - 1
    )
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(number * step, 10) for number in range(first, last + 1)]


def heights(panel: Panel, *, right: bool = False) -> tuple[float, float]:
    """Return the limits of a height axis of a panel: all that is drawn, and a little room."""
    if panel.height is not None:
        return panel.height
    values = [
        value
        for curve in panel.curves
        if panel.same_scale or curve.right is right
        for value in (*curve.y, *curve.low, *curve.high)
    ]
    for points in panel.points:
        values += [*points.y, *(points.limits or ())[2:]]
    return _with_room([*values, *([0.0] if panel.zero else [])])


def across(panel: Panel, chart: Chart) -> tuple[float, float]:
    """Return the limits of the axis along the bottom: engine speed, or the panel's own."""
    if not panel.x_title:
        return chart.speeds
    values = [x for curve in panel.curves for x in curve.x]
    for points in panel.points:
        values += [*points.x, *(points.limits or ())[:2]]
    return _with_room(values)


def lengths(panel: Panel) -> tuple[float, float]:
    """Return the limits of the axis that bars lie along, zero among them."""
    ends = [end for bar in panel.bars
            for end in (bar.value, bar.low, bar.high, bar.behind) if end is not None]  # fmt: skip
    return _with_room([0.0, *ends])


def _with_room(values: Iterable[float]) -> tuple[float, float]:
    known = [value for value in values if math.isfinite(value)]
    if not known:
        return 0.0, 1.0
    low, high = min(known), max(known)
    room = _ROOM * ((high - low) or abs(high) or 1.0)
    return low - room, high + room
