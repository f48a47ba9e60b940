"""A described chart as a matplotlib figure, for PNG, PDF and SVG files."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np

from pullbook.charts import drawing, scales
from pullbook.drawings.chart import BETWEEN, COLOURS, GREY, INK

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pullbook.drawings.chart import Chart, Curve, Mark, Panel, Points, Region

_SIDES = {"start": "left", "end": "right", "middle": "center"}
_HALO = {"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.75}
#: Heights of a chart of one panel, without and with a legend of many lines, inches.
_ONE_PANEL, _WITH_KEY = 5.0, 6.0
#: How much of its height a panel leaves to a legend of many lines, inches.
_BELOW_KEY = 1.5
#: Heights of the first two panels of several, and of what stands about a panel of bars, inches.
_OF_SEVERAL, _ABOUT_BARS = (3.7, 3.2), 1.5
_SHAPES = {"circle": "o", "cross": "x", "triangle": "^", "star": "*"}
_SIZES = {"circle": 22, "cross": 22, "triangle": 22, "star": 200}
#: Characters of a line of the name of an axis, of a whole figure's width and of a half.
_AXIS, _HALF_AXIS = 50, 22
#: Characters that an inch of a panel's height holds of the name of its axis, and inches of a panel
#: that its axis does not have.
_AN_INCH, _NOT_AXIS = 12, 0.7


def draw(chart: Chart, path: Path) -> None:
    """Draw a chart into a file that ends in ``.svg``, ``.png`` or ``.pdf``."""
    with mpl.rc_context(drawing.STYLE):
        drawing.save(figure(chart), path)


def figure(chart: Chart) -> Figure:
    """Return the figure of a chart, under `drawing.STYLE`."""
    drawn, places = _places(chart)
    for at, (axes, panel) in enumerate(zip(places, chart.panels, strict=False)):
        if panel.bars:
            _bars(axes, panel)
        else:
            _curves(axes, panel, chart, at)
    if any(panel.named for panel in chart.panels):
        drawing.legend(drawn, places[: len(chart.panels)])
    if chart.columns == 1:
        drawing.title(drawn, places[0], chart.title, "\n".join(chart.notes))
    else:
        drawing.headline(drawn, chart.title)
        drawn.supxlabel(chart.x_title, fontsize=10)
        drawn.supylabel(drawing.filled("; ".join(chart.notes), _AXIS), fontsize=10)
    return drawn


def _places(chart: Chart) -> tuple[Figure, Sequence[Axes]]:
    """Return a figure with axes for each panel; those over engine speed say so once."""
    if chart.columns > 1:
        return drawing.grid(len(chart.panels), chart.columns)
    if len(chart.panels) == 1:
        drawn, one = drawing.panel(_height(chart.panels[0], chart, 0))
        one.set_xlabel(chart.x_title)
        return drawn, (one,)
    over = [not (panel.bars or panel.x_title) for panel in chart.panels]
    heights = [_height(panel, chart, at) for at, panel in enumerate(chart.panels)]
    drawn, places = drawing.panels(heights, shared=over[1])
    places[1 if over[1] else 0].set_xlabel(chart.x_title)
    return drawn, places


def _height(panel: Panel, chart: Chart, at: int) -> float:
    """Return the height of a panel, inches."""
    if len(chart.panels) > 1:
        return drawing.of_bars(len(panel.bars)) if panel.bars else _OF_SEVERAL[at]
    if panel.bars:
        return _ABOUT_BARS + drawing.of_bars(len(panel.bars))
    return _WITH_KEY if chart.key else _ONE_PANEL


def _curves(axes: Axes, panel: Panel, chart: Chart, at: int) -> None:
    right = axes.twinx() if panel.right_title else axes
    if panel.right_title:
        right.set_ylabel(panel.right_title)
        right.spines["right"].set_visible(True)
    for one, is_right in ((axes, False), (right, True))[: 2 if panel.right_title else 1]:
        one.set_ylim(*scales.heights(panel, right=is_right))
    if chart.columns > 1:
        axes.set_title(drawing.filled(panel.title, _HALF_AXIS), loc="left", fontsize=10)
    else:
        height = _ONE_PANEL - _BELOW_KEY if chart.key else _height(panel, chart, at)
        axes.set_ylabel(drawing.filled(panel.title, int((height - _NOT_AXIS) * _AN_INCH)))
    if panel.x_title:
        axes.set_xlabel(panel.x_title)
        axes.set_xlim(*scales.across(panel, chart))
    if panel.zero:
        axes.axhline(0, color=GREY, linewidth=1)
    for curve in panel.curves:
        _curve(right if curve.right else axes, curve)
    for points in panel.points:
        _points(axes, points)
    for mark in panel.marks:
        _mark(right if mark.right else axes, mark)
    for region in panel.regions:
        _region(axes, region)


def colour_of(style: int) -> str:
    """Return the colour of a style."""
    if style < 0:
        return GREY if style == BETWEEN else INK
    return COLOURS[style]


def _curve(axes: Axes, curve: Curve) -> None:
    colour = colour_of(curve.style)
    line = drawing.line_of(curve.dashes) if curve.joined else "none"
    axes.plot(curve.x, curve.y, color=colour, linestyle=line, linewidth=curve.thick - 0.2,
              marker="o" if curve.dots else None, markersize=5,
              label=curve.name or None)  # fmt: skip
    if curve.low:
        if curve.filled:
            axes.fill_between(curve.x, curve.low, curve.high, color=colour, alpha=0.15, linewidth=0)
        for edge in (curve.low, curve.high):
            axes.plot(curve.x, edge, color=colour, linewidth=0.7 if curve.filled else 1.0,
                      linestyle="-" if curve.filled else (0, (6, 3)))  # fmt: skip
    known = np.flatnonzero(np.isfinite(curve.y))
    if curve.label and len(known):
        at = int(known[int(curve.at * (len(known) - 1))])
        axes.annotate(curve.label, (curve.x[at], curve.y[at]), xytext=(0, -4 if curve.below else 4),
                      fontsize=9, textcoords="offset points", ha="center", color=colour,
                      va="top" if curve.below else "bottom", bbox=_HALO)  # fmt: skip


def _points(axes: Axes, points: Points) -> None:
    colour = colour_of(points.style)
    if points.limits is not None:
        left, right, low, high = points.limits
        axes.plot([left, right], [points.y[0]] * 2, color=INK, linewidth=1, marker="|")
        axes.plot([points.x[0]] * 2, [low, high], color=INK, linewidth=1, marker="_")
    axes.scatter(points.x, points.y, marker=_SHAPES[points.shape], color=colour,
                 s=_SIZES[points.shape], label=points.name or None, zorder=3)  # fmt: skip


def _mark(axes: Axes, mark: Mark) -> None:
    if mark.name:
        axes.plot([], [], linestyle="none", label=f"{mark.text}  {mark.name}")
    axes.plot([mark.x], [mark.y], "o", color=colour_of(mark.style), ms=5)
    if mark.text:
        axes.annotate(mark.text, (mark.x, mark.y), xytext=(0, 7), textcoords="offset points",
                      ha=_SIDES[mark.side], color=colour_of(mark.style), fontsize=10,
                      bbox=_HALO)  # fmt: skip


def _region(axes: Axes, region: Region) -> None:
    if not region.hatched:
        axes.axvspan(region.left, region.right, color=GREY, alpha=0.08, linewidth=0)
        return
    axes.axvspan(region.left, region.right, facecolor="#f1f2f3", edgecolor="#c4c8cb",
                 hatch="///", lw=0)  # fmt: skip
    if region.text:
        axes.text(
            (region.left + region.right) / 2, 0.03, region.text, ha="center", va="bottom",
            rotation=90, color="#5b6268", fontsize=9, transform=axes.get_xaxis_transform(),
        )  # fmt: skip


def _bars(axes: Axes, panel: Panel) -> None:
    axes.axvline(0, color=GREY, linewidth=1)
    axes.set_xlim(*scales.lengths(panel))
    for at, bar in enumerate(panel.bars):
        colour = "white" if bar.hollow else COLOURS[0 if bar.value >= 0 else 1]
        if bar.behind is not None:
            axes.barh(at, bar.behind, height=0.85, color=colour, alpha=0.3)
        axes.barh(at, bar.value, height=0.55, color=colour, alpha=0.8,
                  edgecolor=INK if bar.hollow else "none",
                  hatch=None if bar.value >= 0 or bar.hollow else "////")  # fmt: skip
        if bar.low is not None and bar.high is not None:
            axes.plot([bar.low, bar.high], [at, at], color=INK, linewidth=1.4, marker="|",
                      markersize=7)  # fmt: skip
    axes.set_yticks(range(len(panel.bars)), [bar.name for bar in panel.bars], fontsize=9.5)
    axes.invert_yaxis()
    axes.grid(visible=False, axis="y")
    axes.grid(axis="x", color="#e3e6e8", linewidth=0.8)
    axes.set_xlabel(drawing.filled(panel.title.replace("\n", " "), _AXIS))
