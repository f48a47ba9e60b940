"""Pictures of predicted curves, for print and for a phone."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes

    from model.answer import Answer, Between, Peak
    from model.compare import Difference
    from model.prediction import Prediction

#: Teal, rust, slate blue and ochre: told apart in print and by most who see few colours; each
#: build has a line of its own kind too.
COLOURS = ("#0f6b66", "#a8471f", "#3d4f91", "#8a6d00")
LINES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)))
_GREY, _INK = "#8b9096", "#20262b"
STYLE: Any = {
    "font.size": 11,
    "axes.edgecolor": _GREY,
    "axes.labelcolor": _INK,
    "text.color": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "svg.hashsalt": "pullbook",
    "svg.fonttype": "none",  # text stays text: to be found, read aloud, and small
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial"],
}
#: Nothing that changes from run to run goes into a picture.
METADATA: dict[str, dict[str, Any]] = {
    ".svg": {"Date": None, "Creator": "pullbook"},
    ".pdf": {"CreationDate": None, "Creator": "pullbook"},
    ".png": {"Software": "pullbook"},
}


#: Steps, rev/min, in which a curve is drawn.
_STEP = 50.0


def fine(rpm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return engine speeds close enough together to draw a curve over the range given."""
    return np.union1d(np.arange(rpm[0], rpm[-1], _STEP), rpm)


def draw(answers: Sequence[Answer], path: Path) -> None:
    """Draw torque and power of builds with their limits into a file.

    Parameters
    ----------
    answers
        At most four.
    path
        Ends in ``.svg``, ``.png`` or ``.pdf``.

    """
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(6.4, 7.6), layout="constrained")
        FigureCanvasAgg(figure)
        top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=[1.15, 1])
        for i, answer in enumerate(answers):
            _curve(top, answer, i, [p.torque for p in answer.curve], answer.peak_torque, "lb-ft")
            _curve(bottom, answer, i, [p.power for p in answer.curve], answer.peak_power, "hp")
        _untested(answers, top, bottom)
        top.set_ylabel("torque, lb-ft")
        bottom.set_ylabel("power, hp")
        bottom.set_xlabel("engine speed, rpm")
        for axes in (top, bottom):
            axes.grid(axis="y", color="#e3e6e8", linewidth=0.8)
            axes.set_axisbelow(True)
            axes.margins(x=0.02)
        _head(figure, top, answers)
        figure.savefig(path, dpi=160, metadata=METADATA[path.suffix.casefold()])


def _curve(
    axes: Axes, answer: Answer, i: int, values: list[Between], peak: Peak | None, unit: str
) -> None:
    rpm = np.array([p.rpm for p in answer.curve])
    supported = np.array([p.supported for p in answer.curve])
    middle = np.where(supported, [v.value for v in values], np.nan)
    colour, line = COLOURS[i], LINES[i]
    axes.plot(rpm, middle, color=colour, linestyle=line, linewidth=2.2, label=answer.sheet_id)
    if answer.calibrated:
        low, high = (
            np.array([getattr(v, e) for v in values], dtype=float) for e in ("low", "high")
        )
        axes.fill_between(rpm, low, high, where=supported, color=colour, alpha=0.16, linewidth=0)
        for edge in (low, high):
            axes.plot(rpm, np.where(supported, edge, np.nan), color=colour, linewidth=0.7)
    if peak is not None:
        axes.plot([peak.rpm.value], [peak.height.value], "o", color=colour, markersize=5)
        axes.annotate(
            f"{peak.height.value:.0f} {unit} at {peak.rpm.value:.0f}"
            + (", still rising" if peak.at_end else ""),
            (peak.rpm.value, peak.height.value),
            xytext=(0, 7 if i % 2 == 0 else -16),
            textcoords="offset points",
            ha="right" if peak.at_end else "center",
            color=colour,
            fontsize=10,
            bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.75},
        )


def _untested(answers: Sequence[Answer], *panels: Axes) -> None:
    """Hatch the engine speeds that nothing supports for any of the builds."""
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


def _head(figure: Figure, top: Axes, answers: Sequence[Answer]) -> None:
    first = answers[0]
    standing = (
        first.standing.value if len({a.standing for a in answers}) == 1 else "see the table for"
    )
    title = first.sheet_id if len(answers) == 1 else "Predicted curves"
    figure.suptitle(title, x=0.02, ha="left", fontweight="bold", fontsize=14)
    limits = (
        f"shaded: {100 * first.level:g} % limits for a single reading"
        if first.calibrated
        else f"no limits: too few shops for {100 * first.level:g} %"
    )
    top.set_title(
        f"predicted from {first.bundle['sheets']} sheets; {standing} what was tested\n{limits}",
        loc="left",
        fontsize=10,
        color="#4a5157",
    )
    if len(answers) > 1:
        top.legend(frameon=False, fontsize=10, loc="best")


def draw_difference(both: Sequence[Prediction], found: Difference, path: Path) -> None:
    """Draw the torque of two builds, and below it their difference with its own limits.

    Parameters
    ----------
    both
        What a model says of the two.
    found
        Their difference, at engine speeds close enough together to draw.
    path
        Ends in ``.svg``, ``.png`` or ``.pdf``.

    """
    rpm, supported = found.rpm, np.array(found.supported)
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(6.4, 7.6), layout="constrained")
        FigureCanvasAgg(figure)
        top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=[1.15, 1])
        for i, (one, name) in enumerate(zip(both, found.names, strict=True)):
            torque = np.where(supported, one.torque(rpm), np.nan)
            top.plot(rpm, torque, color=COLOURS[i], linestyle=LINES[i], linewidth=2.2,
                     label=f"{'AB'[i]}  {name}")  # fmt: skip
        top.legend(frameon=False, fontsize=10, loc="best")
        top.set_ylabel("torque, lb-ft")
        bottom.axhline(0, color=_GREY, linewidth=1)
        middle = np.array([one.value for one in found.curve])
        bottom.plot(rpm, np.where(supported, middle, np.nan), color=_INK, linewidth=2)
        if found.calibrated:
            low, high = (np.array([getattr(d, e) for d in found.curve]) for e in ("low", "high"))
            bottom.fill_between(rpm, low, high, where=supported, color=_INK, alpha=0.13, lw=0)
        for cross in found.crossovers:
            bottom.plot([cross.value], [0], "o", color=COLOURS[1], markersize=6)
            bottom.annotate(f"{cross.value:.0f} rpm", (cross.value, 0), xytext=(0, 8),
                            textcoords="offset points", ha="center", fontsize=9)  # fmt: skip
        bottom.set_ylabel("A less B, lb-ft")
        bottom.set_xlabel("engine speed, rpm")
        for axes in (top, bottom):
            axes.grid(axis="y", color="#e3e6e8", linewidth=0.8)
            axes.set_axisbelow(True)
            axes.margins(x=0.02)
        figure.suptitle("Two builds compared", x=0.02, ha="left", fontweight="bold", fontsize=14)
        dyno = "one shop's dyno" if found.one_shop else "two shops' dynos"
        limits = f"shaded: {100 * found.level:g} % limits of the difference, {dyno}"
        top.set_title(
            limits if found.calibrated else "no limits: too few shops", loc="left", fontsize=10,
            color="#4a5157",
        )  # fmt: skip
        figure.savefig(path, dpi=160, metadata=METADATA[path.suffix.casefold()])
