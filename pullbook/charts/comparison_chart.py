"""Builds compared, as a picture: their torque, and the difference with its own limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from pullbook.charts.drawing import COLOURS, GREY, INK, LINES, panels, title

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from pullbook.model.answers.compare import Difference
    from pullbook.model.answers.prediction import Prediction
    from pullbook.text.units import Units


def of_differences(
    builds: Sequence[Prediction], found: Sequence[Difference], units: Units
) -> Figure:
    """Return torque of builds, and below it the first less each other with its own limits.

    Parameters
    ----------
    builds
        What a model says of the builds, at most four.
    found
        The first less each of the others, at engine speeds close enough together to draw.
    units
        That they are drawn in.

    """
    figure, (top, bottom) = panels()
    names = [found[0].names[0], *(one.names[1] for one in found)]
    rpm = found[0].rpm
    for i, (one, name) in enumerate(zip(builds, names, strict=True)):
        torque = units.shown(1.0, "lb-ft") * np.where(one.supported(rpm), one.torque(rpm), np.nan)
        top.plot(rpm, torque, color=COLOURS[i], linestyle=LINES[i], linewidth=2.2,
                 label=f"{'ABCD'[i]}  {name}")  # fmt: skip
    top.legend(frameon=False, fontsize=10, loc="best")
    top.set_ylabel(f"torque, {units.torque}")
    bottom.axhline(0, color=GREY, linewidth=1)
    for i, apart in enumerate(found, start=1):
        colour = INK if len(found) == 1 else COLOURS[i]
        _difference(bottom, apart, units, colour, LINES[0] if len(found) == 1 else LINES[i])
    others = "B" if len(found) == 1 else "the other"
    bottom.set_ylabel(f"A less {others}, {units.torque}")
    count = "Two" if len(builds) == 2 else "Several"
    dyno = "one shop's dyno" if found[0].one_shop else "two shops' dynos"
    limits = f"shaded: {100 * found[0].level:g} % limits of the difference, {dyno}"
    title(figure, top, f"{count} builds compared",
          limits if found[0].calibrated else "no limits: too few shops")  # fmt: skip
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
        axes.annotate(f"{cross.value:.0f} rpm", (cross.value, 0), xytext=(0, 8),
                      textcoords="offset points", ha="center", fontsize=9)  # fmt: skip
