"""An explanation as a chart: what each group of parts adds over engine speed."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from pullbook.charts import drawing
from pullbook.text.explanation_text import DWARFS, by_size, group, origin

if TYPE_CHECKING:
    from pullbook.model.answers.explain import Explanation
    from pullbook.words.units import Units

#: Characters of a line of a panel's title.
_TITLE = 22
#: Characters of a line of the axis label.
_AXIS = 45


def figure(found: Explanation, units: Units) -> Figure:
    """Return what each group of parts adds over engine speed, one panel for each group.

    All share one scale, except for the largest where it would dwarf the others; its panel says so.
    """
    factor = units.shown(1.0, "lb-ft")
    order = by_size(found)
    heights = [1.08 * factor * float(np.abs(found.parts[name]).max()) + 1e-6 for name in order]
    dwarfs = heights[0] > DWARFS * max(heights[1:], default=heights[0])
    limits = [max(heights[1:]) if dwarfs else max(heights)] * len(order)
    limits[0] = heights[0] if dwarfs else limits[0]
    rows = -(-len(order) // 2)
    columns = min(2, len(order))
    drawn = Figure(figsize=(drawing.WIDTH, max(4.4, 2.0 * rows)), layout="constrained")
    FigureCanvasAgg(drawn)
    panels = np.ravel(drawn.subplots(rows, columns, sharex=True))
    for spare in panels[len(order) :]:
        spare.set_axis_off()
        panels[len(order) - 2].tick_params(labelbottom=True)
    for axes, name, limit in zip(panels, order, limits, strict=False):
        part = factor * found.parts[name]
        axes.axhline(0, color="#8b9096", linewidth=0.8)
        for colour, hatch, where in (
            (drawing.COLOURS[0], None, part >= 0), (drawing.COLOURS[1], "////", part < 0),
        ):  # fmt: skip
            axes.fill_between(found.rpm, 0, part, where=where, interpolate=True, color=colour,
                              alpha=0.75, linewidth=0, hatch=hatch)  # fmt: skip
        own = " (own scale)" if dwarfs and name == order[0] else ""
        axes.set_title(textwrap.fill(f"{group(name)}{own}", _TITLE), loc="left", fontsize=10)
        axes.set_ylim(-limit, limit)
    drawn.supxlabel("engine speed, rpm", fontsize=10)
    added = f"torque added to {origin(found)}, {units.torque} at the flywheel ({units.standard})"
    drawn.supylabel(textwrap.fill(added, _AXIS), fontsize=10)
    drawing.headline(drawn, f"What makes the curve of {found.sheet_id}")
    return drawn
