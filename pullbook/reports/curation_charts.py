"""Charts of the report on a data set."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from pullbook.charts import drawing
from pullbook.charts.drawing import svg_of
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd
    from matplotlib.axes import Axes

#: Characters of a line of a panel's title.
_TITLE = 34


def figure(draw: Callable[[Axes], None], height: float, title: str) -> bytes:
    """Return a chart as SVG: its title and what ``draw`` draws."""
    with mpl.rc_context(drawing.STYLE):
        figure = Figure(figsize=(drawing.WIDTH, max(height, 1.4)), layout="constrained")
        FigureCanvasAgg(figure)
        drawing.page_title(figure, title)
        draw(figure.subplots())
        return svg_of(figure)


def bars(title: str, names: list[str], values: Any, label: str, most: float | None = None) -> bytes:
    """Return horizontal bars, one for each name."""

    def draw(axes: Axes) -> None:
        axes.barh(names, values, color=drawing.COLOURS[0], height=0.72)
        for place, value in enumerate(values):
            axes.annotate(f"{value:.0f}", (value, place), xytext=(3, 0), fontsize=9,
                          textcoords="offset points", va="center")  # fmt: skip
        axes.invert_yaxis()
        axes.margins(y=0.01)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlim(0, (most or max(values)) * 1.08)
        axes.set_xlabel(label)

    return figure(draw, 1.0 + 0.24 * len(names), title)


def dots(names: list[str], values: Any, errors: Any) -> bytes:
    """Return how each shop reads, with error bars."""

    def draw(axes: Axes) -> None:
        axes.axvline(0, color="#8b9096", linewidth=1)
        places = np.arange(len(names))
        axes.errorbar(values, places, xerr=errors, fmt="o", color=drawing.COLOURS[0], markersize=4,
                      elinewidth=1, capsize=0)  # fmt: skip
        axes.set_yticks(places, names, fontsize=8, family="monospace")
        axes.margins(y=0.01)
        axes.set_xlabel("reads against all shops, %")

    return figure(draw, 1.1 + 0.17 * len(names), "How each shop reads")


def histograms(builds: pd.DataFrame, names: list[str]) -> bytes:
    """Return the distribution of each number, a panel each."""
    across = 2
    down = -(-len(names) // across)
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure = Figure(figsize=(drawing.WIDTH, 1.35 * down), layout="constrained")
        FigureCanvasAgg(figure)
        drawing.page_title(figure, "Distribution of each number")
        figure.supylabel("number of sheets", fontsize=9)
        panels = figure.subplots(down, across, squeeze=False).ravel()
        for axes, name in zip(panels, names, strict=False):
            field = FIELDS[name]
            number = builds[name].dropna().to_numpy(dtype=float)
            axes.hist(number, bins=24, color=drawing.COLOURS[0])
            axes.margins(y=0.3)  # room for the range above the bars
            axes.set_title(textwrap.fill(f"{field.label}, {field.unit}".rstrip(", "), _TITLE),
                           loc="left", fontsize=9)  # fmt: skip
            axes.text(0.99, 0.97, f"{field.low:g} to {field.high:g}", transform=axes.transAxes,
                      ha="right", va="top", color="#5b6268", fontsize=8)  # fmt: skip
            axes.set_yticks([])
            axes.spines["left"].set_visible(False)
            axes.locator_params(axis="x", nbins=4)
        for axes in panels[len(names) :]:
            axes.set_axis_off()
        return svg_of(figure)
