"""Builds compared, as a chart: their torque, and the difference with its own limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from pullbook.charts.drawing import COLOURS, GREY, INK, LINES, legend, panels, title
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.text import figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from pullbook.model.answers.compare import Difference
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.text.units import Units


def of_differences(
    builds: Sequence[Prediction], found: Sequence[Difference], units: Units
) -> Figure:
    """Return torque of builds, and below it the first minus each other with its own limits.

    Parameters
    ----------
    builds
        The predictions of the builds, at most four.
    found
        The first minus each of the others, at engine speeds close enough together to draw.
    units
        Units to draw in.

    """
    figure, (top, bottom) = panels()
    names = [found[0].names[0], *(one.names[1] for one in found)]
    rpm = found[0].rpm
    for i, (one, name) in enumerate(zip(builds, names, strict=True)):
        torque = units.shown(1.0, "lb-ft") * np.where(one.supported(rpm), one.torque(rpm), np.nan)
        top.plot(rpm, torque, color=COLOURS[i], linestyle=LINES[i], linewidth=2.2,
                 label=f"{'ABCD'[i]}  {name}")  # fmt: skip
    legend(figure, top)
    top.set_ylabel(units.torque_axis)
    bottom.axhline(0, color=GREY, linewidth=1)
    for i, apart in enumerate(found, start=1):
        colour = INK if len(found) == 1 else COLOURS[i]
        _difference(bottom, apart, units, colour, LINES[0] if len(found) == 1 else LINES[i])
    others = "B" if len(found) == 1 else "the other"
    bottom.set_ylabel(f"A minus {others}, {units.torque} ({REFERENCE})")
    dyno = "one shop's dyno" if found[0].one_shop else "two shops' dynos"
    level = f"{figures.level(found[0].level)}"
    limits = f"shaded: {level} limits of the difference, {dyno}"
    count = "Two" if len(builds) == 2 else "Several"
    below = limits if found[0].calibrated else "no limits: too few shops or engines"
    title(figure, top, f"{count} builds compared", f"predicted torque at the flywheel\n{below}")
    return figure


def _difference(axes: Axes, found: Difference, units: Units, colour: str, line: Any) -> None:
    rpm, supported = found.rpm, np.array(found.supported)
    curve = [units.between(one, "lb-ft") for one in found.curve]
    middle = np.array([one.value for one in curve])
    axes.plot(rpm, np.where(supported, middle, np.nan), color=colour, linestyle=line, linewidth=2)
    if found.calibrated:
        low, high = (np.array([getattr(one, e) for one in curve]) for e in ("low", "high"))
        axes.fill_between(rpm, low, high, where=supported, color=colour, alpha=0.13, lw=0)
    for cross in found.crossovers:
        axes.plot([cross.value], [0], "o", color=COLOURS[1], markersize=6)
        axes.annotate(f"{figures.speed(cross.value)} rpm", (cross.value, 0), xytext=(0, 8),
                      textcoords="offset points", ha="center", fontsize=9)  # fmt: skip
