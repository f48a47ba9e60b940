"""Builds compared, as a chart: their torque, and the difference with its own limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.charts import matplotlib_writer
from pullbook.drawings import comparison_drawing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from pullbook.model.comparison.difference import Difference
    from pullbook.model.comparison.measured_difference import Shares
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.on_request import Load
    from pullbook.words.units import Units


def of_differences(
    builds: Sequence[Prediction],
    found: Sequence[Difference],
    units: Units,
    shares: Shares | None = None,
    *,
    made_same: bool = False,
    loads: Sequence[Load] = (),
    title: str = "",
) -> Figure:
    """Return what `comparison_drawing.of_differences` describes, under `drawing.STYLE`."""
    return matplotlib_writer.figure(
        comparison_drawing.of_differences(
            builds, found, units, shares, made_same=made_same, loads=loads, title=title
        )
    )
