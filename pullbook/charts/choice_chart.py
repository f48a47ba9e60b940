"""A choice of parts as a chart: low-range torque against peak power."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.text.choice_text import title
from pullbook.text.search_text import goal

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from pullbook.model.choices.parts_choice import Choice, Combination
    from pullbook.words.units import Units


#: Characters of the longest name that stands beside its mark.
_BESIDE = 40


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
    front = [place(one) for one in found.front()]
    axes.plot([x for x, _ in front], [y for _, y in front], color=drawing.COLOURS[1], linewidth=1.4,
              marker="s", markersize=6, label="none better in both")  # fmt: skip
    named = found.front()
    for one in {id(named[0]): named[0], id(named[-1]): named[-1]}.values() if named else ():
        last = one is named[-1] and len(named) > 1  # the line comes down to it from the left
        if len(one.name) > _BESIDE:
            continue  # it would cover the chart; the legend names the best
        axes.annotate(one.name, place(one), in_layout=False, fontsize=9,
                      xytext=(0, -9 if last else 9),
                      textcoords="offset points", ha="right" if last else "left",
                      va="top" if last else "bottom")  # fmt: skip
    if found.ranked and found.ranked[0].power is not None:
        x, y = place(found.ranked[0])
        axes.plot(
            [x],
            [y],
            "*",
            color=drawing.INK,
            markersize=15,
            label=f"best for the goal: {found.ranked[0].name}",
        )
    axes.set_xlabel(f"peak {units.power_axis}")
    axes.set_ylabel(
        f"mean torque from {found.low[0]:.0f} to {found.low[1]:.0f} rpm,"
        f"\n{units.torque} ({units.standard})"
    )
    axes.margins(0.12)
    drawing.legend(drawn, axes)
    drawing.title(drawn, axes, title(found),
                  "predicted torque and power at the flywheel\n"
                  f"goal: {goal(found.goal)}")  # fmt: skip
    return drawn
