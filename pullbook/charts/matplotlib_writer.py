"""A described chart as a matplotlib figure, for PNG, PDF and SVG files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np

from pullbook.charts import drawing
from pullbook.drawings import axes as scales
from pullbook.drawings.chart import COLOURS, GREY, INK

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pullbook.drawings.chart import Chart, Curve, Mark, Panel, Region

_SIDES = {"start": "left", "end": "right", "middle": "center"}
_HALO = {"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.75}
#: Height of a chart of one panel, inches.
_ONE_PANEL = 5.0


def draw(chart: Chart, path: Path) -> None:
    """Draw a chart into a file that ends in ``.svg``, ``.png`` or ``.pdf``."""
    with mpl.rc_context(drawing.STYLE):
        drawing.save(figure(chart), path)


def figure(chart: Chart) -> Figure:
    """Return the figure of a chart, under `drawing.STYLE`."""
    bars = next((len(panel.bars) for panel in chart.panels if panel.bars), 0)
    if len(chart.panels) == 1:
        drawn, one = drawing.panel(_ONE_PANEL)
        one.set_xlabel(chart.x_title)
        places: Any = (one,)
    else:
        drawn, places = drawing.panels(bars=bars)
    for axes, panel in zip(places, chart.panels, strict=True):
        if panel.bars:
            _bars(axes, panel)
        else:
            _curves(axes, panel)
    if any(curve.name for curve in chart.panels[0].curves):
        drawing.legend(drawn, places[0])
    drawing.title(drawn, places[0], chart.title, "\n".join(chart.notes))
    return drawn


def _curves(axes: Axes, panel: Panel) -> None:
    right = axes.twinx() if panel.right_title else axes
    if panel.right_title:
        right.set_ylabel(panel.right_title)
        right.spines["right"].set_visible(True)
    for one, is_right in ((axes, False), (right, True))[: 2 if panel.right_title else 1]:
        one.set_ylim(*scales.heights(panel, right=is_right))
    axes.set_ylabel(panel.title)
    if panel.zero:
        axes.axhline(0, color=GREY, linewidth=1)
    for curve in panel.curves:
        _curve(right if curve.right else axes, curve)
    for mark in panel.marks:
        _mark(right if mark.right else axes, mark)
    for region in panel.regions:
        _region(axes, region)


def colour_of(style: int) -> str:
    """Return the colour of a style."""
    return INK if style < 0 else COLOURS[style]


def _curve(axes: Axes, curve: Curve) -> None:
    colour, line = colour_of(curve.style), drawing.line_of(curve.style)
    axes.plot(curve.x, curve.y, color=colour, linestyle=line, linewidth=2.2,
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


def _mark(axes: Axes, mark: Mark) -> None:
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
    axes.set_xlabel(panel.title)
