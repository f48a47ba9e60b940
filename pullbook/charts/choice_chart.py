"""A choice of parts as a chart: low-range torque against peak power."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.text.choice_text import title
from pullbook.text.search_text import goal
from pullbook.words import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pullbook.model.choices.parts_choice import Choice, Combination
    from pullbook.words.units import Units


#: Most combinations that are numbered in the chart and named below it.
_NUMBERED = 6


def figure(found: Choice, units: Units) -> Figure:
    """Return low-range torque against peak power of every combination, the unbeaten ones named."""
    from pullbook.charts import drawing

    drawn, axes = drawing.panel(6.0)
    torque, power = units.shown(1.0, "lb-ft"), units.shown(1.0, "hp")

    def place(one: Combination) -> tuple[float, float]:
        height = float("nan") if one.power is None else one.power.height.value
        return height * power, one.low.value * torque

    for rows, marker, colour, label in (
        (found.outside, "x", drawing.GREY, "outside the data, not recommended"),
        (found.short, "^", drawing.COLOURS[3], "not sure to clear the load"),
        (found.ranked, "o", drawing.COLOURS[0], "in the data"),
    ):
        known = [place(one) for one in rows if one.power is not None]
        if known:
            across, up = zip(*known, strict=True)
            axes.scatter(across, up, marker=marker, color=colour, s=22, alpha=0.5, label=label)
    front = found.front()
    points = [place(one) for one in front]
    axes.plot([x for x, _ in points], [y for _, y in points], color=drawing.COLOURS[1],
              linewidth=1.4, marker="s", markersize=6, label="none better in both")  # fmt: skip
    for at, one in enumerate(front[:_NUMBERED], 1):
        axes.annotate(str(at), place(one), fontsize=9, fontweight="bold", xytext=(7, 7),
                      textcoords="offset points", ha="left", va="bottom")  # fmt: skip
        axes.plot([], [], linestyle="none", label=f"{at}  {one.name}")
    if found.ranked and found.ranked[0].power is not None:
        best = found.ranked[0]
        x, y = place(best)
        _limits(axes, best, found.level, units)
        axes.plot([x], [y], "*", color=drawing.INK, markersize=15,
                  label=f"best for the goal: {best.name}")  # fmt: skip
    shown = [one for one in (*found.ranked, *found.short, *found.outside) if one.power is not None]
    ends = any(one.power is not None and one.power.at_end for one in shown)
    axes.set_xlabel(f"{'highest' if ends else 'peak'} {units.power_axis}")
    axes.set_ylabel(
        f"mean torque from {found.low[0]:.0f} to {found.low[1]:.0f} rpm,"
        f"\n{units.torque} ({units.standard})"
    )
    axes.margins(0.12)
    drawing.legend(drawn, axes)
    below = f"predicted torque and power at the flywheel\ngoal: {goal(found.goal)}"
    if ends and found.for_power is not None:
        high = found.for_power[1]
        below += f"\nhighest power up to {high:.0f} rpm, where it still climbs for some"
    drawing.title(drawn, axes, title(found), below)
    return drawn


def _limits(axes: Axes, best: Combination, level: float, units: Units) -> None:
    """Draw the limits of the best combination as a thin cross."""
    from pullbook.charts import drawing

    power, torque = units.peak(best.power, "hp"), units.between(best.low, "lb-ft")
    if power is None:
        return
    (x, left, right), (y, down, up) = power.height, torque
    if left is None or right is None or down is None or up is None:
        return
    axes.errorbar([x], [y], xerr=[[x - left], [right - x]], yerr=[[y - down], [up - y]],
                  color=drawing.GREY, linewidth=1, capsize=3,
                  label=f"{figures.level(level)} limits of the best")  # fmt: skip
