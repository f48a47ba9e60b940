"""A choice of parts described as a chart: low-range torque against highest power."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.drawings.chart import BETWEEN, NEUTRAL, Chart, Curve, Mark, Panel, Points
from pullbook.text.choice_text import title
from pullbook.text.search_text import goal
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.choices.parts_choice import Choice, Combination
    from pullbook.words.units import Units

#: Most combinations that are numbered in the chart and named below it.
_NUMBERED = 6
Place = tuple[float, float]


def of_choice(found: Choice, units: Units) -> Chart:
    """Return low-range torque against highest power of every combination, unbeaten ones named."""
    rows = (
        (found.outside, "cross", BETWEEN, "outside the data, not recommended"),
        (found.short, "triangle", 3, "not sure to clear the load"),
        (found.ranked[1:], "circle", 0, "others in the data"),
    )
    points = [_points(_places(kind, units), shape, style, label)
              for kind, shape, style, label in rows if _places(kind, units)]  # fmt: skip
    front = found.front()
    unbeaten = _places(front, units)
    curves = []
    if unbeaten:
        across, up = zip(*unbeaten, strict=True)
        curves.append(Curve(across, up, style=1, dots=True, name="none better in both"))
    marks = [
        Mark(x, y, str(at), 1, name=one.name)
        for at, (one, (x, y)) in enumerate(zip(front[:_NUMBERED], unbeaten, strict=False), 1)
    ]
    if found.ranked and found.ranked[0].power is not None:
        points.append(_best(found.ranked[0], units))
    ends = any(one.power.at_end for kind, *_ in rows for one in kind if one.power is not None)
    notes = ["predicted torque and power at the flywheel", f"goal: {goal(found.goal)}"]
    if any(one.limits is not None for one in points):
        notes.append(f"cross: {figures.level(found.level)} limits of the best")
    if ends and found.for_power is not None:
        high = found.for_power[1]
        notes.append(f"highest power up to {high:.0f} rpm; some still climb there")
    panel = Panel(
        f"mean torque from {found.low[0]:.0f} to {found.low[1]:.0f} rpm, {units.torque}"
        f" ({units.standard})",
        tuple(curves), tuple(marks), points=tuple(points),
        x_title=f"{'highest' if ends else 'peak'} {units.power_axis}",
    )  # fmt: skip
    alt = "Low-range torque against highest power of each combination."
    return Chart(title(found), tuple(notes), (panel,), alt, key=True)


def _places(rows: Sequence[Combination], units: Units) -> list[Place]:
    """Return power and low-range torque of the combinations whose power is known."""
    torque, power = units.shown(1.0, "lb-ft"), units.shown(1.0, "hp")
    return [(one.power.height.value * power, one.low.value * torque)
            for one in rows if one.power is not None]  # fmt: skip


def _points(places: Sequence[Place], shape: str, style: int, label: str) -> Points:
    across, up = zip(*places, strict=True)
    return Points(across, up, shape, style, label)


def _best(best: Combination, units: Units) -> Points:
    """Return the best combination as a star, with its limits as a cross."""
    ((x, y),) = _places([best], units)
    power, torque = units.peak(best.power, "hp"), units.between(best.low, "lb-ft")
    limits = None
    if power is not None:
        left, right, low, high = *power.height[1:], *torque[1:]
        if left is not None and right is not None and low is not None and high is not None:
            limits = (left, right, low, high)
    return Points((x,), (y,), "star", NEUTRAL, f"best for the goal: {best.name}", limits)
