"""Builds compared, as a chart: their torque, and the difference with its own limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from pullbook.charts.drawing import COLOURS, GREY, INK, LINES, legend, panels, title
from pullbook.text import figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from pullbook.model.comparison.compare import Difference
    from pullbook.model.comparison.measured_difference import Shares
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.text.units import Units

#: With more crossovers than this, as of measured curves that are alike, none is marked.
_MOST_CROSSINGS = 3


def of_differences(
    builds: Sequence[Prediction],
    found: Sequence[Difference],
    units: Units,
    shares: Shares | None = None,
    *,
    made_same: bool = False,
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
    shares
        What makes the difference of two, if that is to be drawn too.
    made_same
        Whether parts were made the same since; shares are of the builds before that.

    """
    bars = 0 if shares is None else len(shares.parts) + 1
    figure, (top, bottom, *last) = panels(bars=bars)
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
    bottom.set_ylabel(f"A minus {others}, {units.torque} ({units.standard})")
    dyno = "one shop's dyno" if found[0].one_shop else "two shops' dynos"
    if any(any(one.measured) for one in found):
        dyno = "tested once more"
    level = f"{figures.level(found[0].level)}"
    limits = f"shaded: {level} limits of the difference, {dyno}"
    if bars:  # their names leave less room
        limits = limits.replace(", ", ",\n")
    if shares is not None:
        _shares(last[0], shares, units, made_same=made_same)
    count = "Two" if len(builds) == 2 else "Several"
    how = {m for one in found for m in one.measured}
    origin = " or ".join("measured" if one else "predicted" for one in sorted(how, reverse=True))
    below = limits if found[0].calibrated else "no limits: too few shops or engines"
    title(figure, top, f"{count} builds compared", f"{origin} torque at the flywheel\n{below}")
    return figure


def _difference(axes: Axes, found: Difference, units: Units, colour: str, line: Any) -> None:
    rpm, supported = found.rpm, np.array(found.supported)
    curve = [units.between(one, "lb-ft") for one in found.curve]
    middle = np.array([one.value for one in curve])
    axes.plot(rpm, np.where(supported, middle, np.nan), color=colour, linestyle=line, linewidth=2)
    if found.calibrated:
        low, high = (np.array([getattr(one, e) for one in curve]) for e in ("low", "high"))
        axes.fill_between(rpm, low, high, where=supported, color=colour, alpha=0.13, lw=0)
    for cross in found.crossovers if len(found.crossovers) <= _MOST_CROSSINGS else ():
        axes.plot([cross.value], [0], "o", color=COLOURS[1], markersize=6)
        axes.annotate(f"{figures.speed(cross.value)} rpm", (cross.value, 0), xytext=(0, 8),
                      textcoords="offset points", ha="center", fontsize=9)  # fmt: skip


def _shares(axes: Axes, shares: Shares, units: Units, *, made_same: bool) -> None:
    """Draw the share of each group of parts as a bar with its limits, the largest on top."""
    parts = sorted(shares.parts.items(), key=lambda one: -abs(one[1].value))
    shown = [(name, units.between(one, "lb-ft")) for name, one in parts]
    left = units.shown(shares.unexplained, "lb-ft")
    rows = [*((name, one.value, one.low, one.high) for name, one in shown),
            ("not explained", left, None, None)]  # fmt: skip
    axes.axvline(0, color=GREY, linewidth=1)
    for at, (name, value, low, high) in enumerate(rows):
        last = name == "not explained"
        colour = "white" if last else COLOURS[0 if value >= 0 else 1]
        axes.barh(at, value, height=0.55, color=colour, alpha=0.8,
                  edgecolor=INK if last else "none",
                  hatch=None if value >= 0 or last else "////")  # fmt: skip
        if low is not None and high is not None:
            axes.plot([low, high], [at, at], color=INK, linewidth=1.4, marker="|", markersize=7)
    axes.set_yticks(range(len(rows)), [name for name, *_ in rows], fontsize=9.5)
    axes.invert_yaxis()
    axes.grid(visible=False, axis="y")
    axes.grid(axis="x", color="#e3e6e8", linewidth=0.8)
    before = ", before parts were made the same" if made_same else ""
    axes.set_xlabel(f"share of A minus B, mean over the band,\n{units.torque}{before}")
