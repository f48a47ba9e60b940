"""Predicted torque and power, as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from pullbook.charts.drawing import COLOURS, LINES, STYLE, head, panels, save
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes

    from pullbook.schemas.answer import Answer, Between, Peak
    from pullbook.words.units import Units


def draw(answers: Sequence[Answer], path: Path, units: Units) -> None:
    """Draw torque and power of builds with their limits into a file.

    Parameters
    ----------
    answers
        At most four.
    path
        Ends in ``.svg``, ``.png`` or ``.pdf``.
    units
        Units to draw in.

    """
    with mpl.rc_context(STYLE):
        save(of_answers(answers, units), path)


def of_answers(answers: Sequence[Answer], units: Units) -> Figure:
    """Return torque and power of at most four builds with their limits, under `STYLE`."""
    figure, (top, bottom) = panels()
    alone = len(answers) == 1
    for i, answer in enumerate(answers):
        torque = [units.between(p.torque, "lb-ft") for p in answer.curve]
        power = [units.between(p.power, "hp") for p in answer.curve]
        peaks = units.peak(answer.peak_torque, "lb-ft"), units.peak(answer.peak_power, "hp")
        for axes, values, peak in ((top, torque, peaks[0]), (bottom, power, peaks[1])):
            _curve(axes, answer, i, values)
            if peak is not None:
                axes.plot([peak.rpm.value], [peak.height.value], "o", color=COLOURS[i], ms=5)
        named = zip((top, bottom), peaks, (units.torque, units.power), strict=True)
        if alone:
            for axes, peak, unit in named:
                _name_peak(axes, answer, peak, unit)
        else:
            _legend_line(top, answer, i, [(peak, unit) for _, peak, unit in named])
    _untested(answers, top, bottom)
    top.set_ylabel(units.torque_axis)
    bottom.set_ylabel(units.power_axis)
    head(figure, top, answers)
    return figure


def _curve(axes: Axes, answer: Answer, i: int, values: list[Between]) -> None:
    rpm = np.array([p.rpm for p in answer.curve])
    supported = np.array([p.supported for p in answer.curve])
    middle = np.where(supported, [v.value for v in values], np.nan)
    colour, line = COLOURS[i], LINES[i]
    axes.plot(rpm, middle, color=colour, linestyle=line, linewidth=2.2)
    if answer.calibrated:
        low, high = (
            np.array([getattr(v, e) for v in values], dtype=float) for e in ("low", "high")
        )
        axes.fill_between(rpm, low, high, where=supported, color=colour, alpha=0.16, linewidth=0)
        for edge in (low, high):
            axes.plot(rpm, np.where(supported, edge, np.nan), color=colour, linewidth=0.7)


def _name_peak(axes: Axes, answer: Answer, peak: Peak | None, unit: str) -> None:
    """Mark a peak with its height and its engine speed."""
    if peak is None:
        return
    rpm = np.array([p.rpm for p in answer.curve])
    axes.annotate(
        f"{peak.height.value:.0f} {unit} at {_where(peak, rpm)}",
        (peak.rpm.value, peak.height.value),
        xytext=(0, 7),
        textcoords="offset points",
        ha=_side(peak, rpm),
        color=COLOURS[0],
        fontsize=10,
        bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.75},
    )


def _legend_line(
    axes: Axes, answer: Answer, i: int, peaks: Sequence[tuple[Peak | None, str]]
) -> None:
    """Add a build with its peaks to the legend: beside the curves the texts would overlap."""
    rpm = np.array([p.rpm for p in answer.curve])
    heights = [
        f"{peak.height.value:.0f} {unit} at {_where(peak, rpm)}"
        for peak, unit in peaks
        if peak is not None
    ]
    label = f"{answer.sheet_id}: {'; '.join(heights)}" if heights else answer.sheet_id
    axes.plot([], [], color=COLOURS[i], linestyle=LINES[i], linewidth=2.2, label=label)


def _rising(peak: Peak, rpm: np.ndarray) -> bool:
    """Tell whether a curve is highest at its upper end."""
    return peak.at_end and peak.rpm.value > (rpm[0] + rpm[-1]) / 2


def _where(peak: Peak, rpm: np.ndarray) -> str:
    """Return the engine speed of a peak in words, or which way a curve goes at its end."""
    if not peak.at_end:
        return f"{figures.speed(peak.rpm.value)} rpm"
    way = "still rising" if _rising(peak, rpm) else "falling from there"
    return f"{peak.rpm.value:.0f} rpm, {way}"


def _side(peak: Peak, rpm: np.ndarray) -> str:
    """Return the alignment that keeps the text of a peak inside the chart."""
    share = (peak.rpm.value - rpm[0]) / max(rpm[-1] - rpm[0], 1.0)
    return "left" if share < 0.25 else "right" if share > 0.75 else "center"


def _untested(answers: Sequence[Answer], *panels: Axes) -> None:
    """Hatch the engine speeds at which nothing like any of the builds was tested."""
    rpm = np.array([p.rpm for p in answers[0].curve])
    bare = ~np.any([[p.supported for p in a.curve] for a in answers], axis=0)
    edges = np.flatnonzero(np.diff(np.r_[0, bare.astype(int), 0]))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        left = rpm[0] if start == 0 else (rpm[start - 1] + rpm[start]) / 2
        right = rpm[-1] if stop == len(rpm) else (rpm[stop - 1] + rpm[stop]) / 2
        for axes in panels:
            axes.axvspan(left, right, facecolor="#f1f2f3", edgecolor="#c4c8cb", hatch="///", lw=0)
        panels[0].text(
            (left + right) / 2, 0.03, "not tested", ha="center", va="bottom", rotation=90,
            color="#5b6268", fontsize=9, transform=panels[0].get_xaxis_transform(),
        )  # fmt: skip
