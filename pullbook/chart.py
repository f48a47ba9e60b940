"""Pictures of predicted curves, for print and for a phone."""

from __future__ import annotations

import textwrap
import warnings
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pullbook.page import svg_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes

    from model.answer import Answer, Between, Peak
    from model.compare import Difference
    from model.prediction import Prediction
    from pullbook.unit_choice import Units

#: Teal, rust, slate blue and ochre: told apart in print and by most who see few colours; each
#: build has a line of its own kind too.
COLOURS = ("#0f6b66", "#a8471f", "#3d4f91", "#8a6d00")
LINES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)))
GREY, INK = "#8b9096", "#20262b"
#: Of every picture, inches: a phone shows it at three quarters of that, and its text can be read.
WIDTH = 5.0
#: Characters of a line of a title, and of what stands below it.
_TITLE, _BELOW = 36, 58
STYLE: Any = {
    "font.size": 11,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "svg.hashsalt": "pullbook",
    "text.parse_math": False,  # a name is a name, whatever it has in it
    "svg.fonttype": "none",  # text stays text: to be found, read aloud, and small
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial"],
}
#: Nothing that changes from run to run goes into a picture.
_METADATA: dict[str, dict[str, Any]] = {
    ".pdf": {"CreationDate": None, "Creator": "pullbook"},
    ".png": {"Software": "pullbook"},
}


#: Steps, rev/min, in which a curve is drawn.
_STEP = 50.0


def fine(rpm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return engine speeds close enough together to draw a curve over the range given."""
    return np.union1d(np.arange(rpm[0], rpm[-1], _STEP), rpm)


def draw(answers: Sequence[Answer], path: Path, units: Units) -> None:
    """Draw torque and power of builds with their limits into a file.

    Parameters
    ----------
    answers
        At most four.
    path
        Ends in ``.svg``, ``.png`` or ``.pdf``.
    units
        That it is drawn in.

    """
    with mpl.rc_context(STYLE):
        save(of_answers(answers, units), path)


def save(figure: Figure, path: Path) -> None:
    """Write a figure into a file, the same each time."""
    if path.suffix.casefold() == ".svg":
        path.write_bytes(svg_of(figure))
    else:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "Glyph")  # a name the font lacks a sign of
            figure.savefig(path, dpi=160, metadata=_METADATA[path.suffix.casefold()])


def of_answers(answers: Sequence[Answer], units: Units) -> Figure:
    """Return torque and power of at most four builds with their limits, under `STYLE`."""
    figure, (top, bottom) = panels()
    for i, answer in enumerate(answers):
        torque = [units.between(p.torque, "lb-ft") for p in answer.curve]
        power = [units.between(p.power, "hp") for p in answer.curve]
        _curve(top, answer, i, torque, units.peak(answer.peak_torque, "lb-ft"), units.torque)
        _curve(bottom, answer, i, power, units.peak(answer.peak_power, "hp"), units.power)
    _untested(answers, top, bottom)
    top.set_ylabel(f"torque, {units.torque}")
    bottom.set_ylabel(f"power, {units.power}")
    _head(figure, top, answers)
    return figure


def panels(*, shared: bool = True) -> tuple[Figure, Sequence[Axes]]:
    """Return a figure of two panels, for print and for a phone; ``shared``: over engine speed."""
    figure = Figure(figsize=(WIDTH, 7.6), layout="constrained")
    FigureCanvasAgg(figure)
    top, bottom = figure.subplots(2, 1, sharex=shared, height_ratios=[1.15, 1])
    bottom.set_xlabel("engine speed, rpm")
    for axes in (top, bottom):
        axes.grid(axis="y", color="#e3e6e8", linewidth=0.8)
        axes.set_axisbelow(True)
        axes.margins(x=0.02)
    return figure, (top, bottom)


def panel(height: float) -> tuple[Figure, Axes]:
    """Return a figure of one panel of so many inches."""
    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure, figure.subplots()


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
    invented = "invented " if first.bundle.get("invented") else ""
    limits = (
        f"shaded: {100 * first.level:g} % limits for a single reading"
        if first.calibrated
        else f"no limits: too few shops for {100 * first.level:g} %"
    )
    title(
        figure,
        top,
        first.sheet_id if len(answers) == 1 else "Predicted curves",
        f"predicted from {first.bundle['sheets']} {invented}sheets; {standing} what was tested"
        f"\n{limits}",
    )
    if len(answers) > 1:
        top.legend(frameon=False, fontsize=10, loc="best")


def title(figure: Figure, top: Axes, name: str, below: str) -> None:
    """Put a title on a figure, and what it rests on below it."""
    headline(figure, name)
    wrapped = "\n".join(textwrap.fill(line, _BELOW) for line in below.split("\n"))
    top.set_title(wrapped, loc="left", fontsize=10, color="#4a5157")


def headline(figure: Figure, name: str) -> None:
    """Put a title alone on a figure."""
    figure.suptitle(textwrap.fill(name, _TITLE), x=0.02, ha="left", fontweight="bold", fontsize=14)


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
