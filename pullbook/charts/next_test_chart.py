"""Which engine to test next, as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from pullbook.model.answers.next_test import Lesson
    from pullbook.pipeline.values.sheet import Build
    from pullbook.words.units import Units


def figure(found: Sequence[Lesson], candidates: Sequence[Build], units: Units) -> Figure:
    """Return how much each test narrows the limits, and how it adds up."""
    from pullbook.charts import drawing

    drawn, axes = drawing.panel(1.9 + 0.36 * len(found))
    places = range(len(found))
    axes.barh(places, [100 * one.narrows_so_far for one in found], color=drawing.COLOURS[0],
              alpha=0.35, label="with those above it")  # fmt: skip
    axes.barh(places, [100 * one.narrows for one in found], height=0.4, color=drawing.COLOURS[0],
              label="this test alone")  # fmt: skip
    axes.set_ylabel("engine to test")
    axes.set_yticks(list(places), [candidates[one.candidate].sheet_id for one in found])
    axes.invert_yaxis()
    axes.set_xlabel("limits narrower by, %")
    drawing.legend(drawn, axes)
    below = f"expected, average over the builds asked about\nlimits of {units.torque_axis}"
    drawing.title(drawn, axes, "Which engine to test next", below)
    return drawn
