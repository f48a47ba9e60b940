"""Which engine to run next, as a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from pullbook.model.answers.next_test import Lesson
    from pullbook.pipeline.values.sheet import Build


def figure(found: Sequence[Lesson], candidates: Sequence[Build]) -> Figure:
    """Return the narrowing by each run, and how it adds up."""
    from pullbook.charts import drawing

    drawn, axes = drawing.panel(1.6 + 0.36 * len(found))
    places = range(len(found))
    axes.barh(places, [100 * one.narrows_so_far for one in found], color=drawing.COLOURS[0],
              alpha=0.35, label="with those above it")  # fmt: skip
    axes.barh(places, [100 * one.narrows for one in found], height=0.4, color=drawing.COLOURS[0],
              label="by itself")  # fmt: skip
    axes.set_yticks(list(places), [candidates[one.candidate].sheet_id for one in found])
    axes.invert_yaxis()
    axes.set_xlabel("narrowing of the questions' limits, %")
    axes.legend(frameon=False, fontsize=9)
    drawing.title(drawn, axes, "What to run next", "expected, over the questions that were asked")
    return drawn
