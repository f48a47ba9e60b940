"""A measured pull against its prediction, as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.words import figures

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from pullbook.model.answers.measured_pull import Measured
    from pullbook.words.units import Units


def figure(found: Measured, name: str, units: Units) -> Figure:
    """Return the measured pull with the prediction, and below how far off it is."""
    from pullbook.charts import drawing

    prediction = found.found
    drawn, (top, bottom) = drawing.panels()
    factor = units.shown(1.0, "lb-ft")
    fine = np.linspace(found.rpm[0], found.rpm[-1], 160) if len(found.rpm) > 1 else found.rpm
    middle = factor * prediction.torque(fine)
    threshold = prediction.factor("band", found.level)
    top.plot(fine, middle, color=drawing.COLOURS[0], linewidth=2, label="predicted")
    if threshold is not None:
        ratio = np.exp(threshold * prediction.width(fine))
        top.fill_between(fine, middle / ratio, middle * ratio, color=drawing.COLOURS[0], alpha=0.16,
                         linewidth=0)  # fmt: skip
        bottom.fill_between(fine, 100 * (1 / ratio - 1), 100 * (ratio - 1),
                            color=drawing.COLOURS[0], alpha=0.16, linewidth=0)  # fmt: skip
    top.plot(found.rpm, factor * found.torque, "o", color=drawing.COLOURS[1], markersize=5,
             label="measured")  # fmt: skip
    bottom.axhline(0, color=drawing.GREY, linewidth=1)
    bottom.plot(found.rpm, 100 * (found.torque / found.predicted - 1), "o-",
                color=drawing.COLOURS[1], markersize=4, linewidth=1)  # fmt: skip
    drawing.legend(drawn, top)
    top.set_ylabel(units.torque_axis)
    bottom.set_ylabel("measured against predicted, %")
    level = f"{figures.level(found.level)}"
    limits = ("no limits: too few shops or engines" if threshold is None else
              f"shaded: {level} limits for the whole curve")  # fmt: skip
    drawing.title(
        drawn, top, f"{name}: measured and predicted", f"torque at the flywheel\n{limits}"
    )
    return drawn
