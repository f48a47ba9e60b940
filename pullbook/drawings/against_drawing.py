"""A measured pull against its prediction, described as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.drawings.chart import Chart, Curve, Panel
from pullbook.words import figures

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pullbook.model.answers.measured_pull import Measured
    from pullbook.words.units import Units


def of_pull(found: Measured, name: str, units: Units) -> Chart:
    """Return the measured pull with the prediction, and below it how far off it is."""
    prediction = found.found
    factor = units.shown(1.0, "lb-ft")
    fine = np.linspace(found.rpm[0], found.rpm[-1], 160) if len(found.rpm) > 1 else found.rpm
    middle = factor * prediction.torque(fine)
    threshold = prediction.factor("band", found.level)
    low, high = np.empty(0), np.empty(0)
    if threshold is not None:
        ratio = np.exp(threshold * prediction.width(fine))
        low, high = 1 / ratio, ratio
    measured, off = factor * found.torque, 100 * (found.torque / found.predicted - 1)
    limited = threshold is not None
    drawn = Curve(_numbers(fine), _numbers(middle), _numbers(middle * low) if limited else (),
                  _numbers(middle * high) if limited else (), 0, "predicted", 0.2,
                  below=_is_under(middle[0], measured[0]))  # fmt: skip
    dots = Curve(_numbers(found.rpm), _numbers(measured), style=1, label="measured", at=0.75,
                 joined=False, dots=True, below=not drawn.below)  # fmt: skip
    room = Curve(_numbers(fine), _numbers(0.0 * fine), _numbers(100 * (low - 1)),
                 _numbers(100 * (high - 1)))  # fmt: skip
    apart = Curve(_numbers(found.rpm), _numbers(off), style=1, dots=True)
    level = figures.level(found.level)
    limits = (
        f"shaded: {level} limits for the whole curve"
        if limited
        else "no limits: too few shops or engines"
    )
    return Chart(
        f"{name}: measured and predicted",
        ("torque at the flywheel", limits),
        (
            Panel(units.torque_axis, (drawn, dots)),
            Panel("measured against predicted, %", (room, apart), zero=True),
        ),
        "Measured torque and the predicted curve with its limits.",
    )


def _numbers(values: NDArray[np.float64]) -> tuple[float, ...]:
    return tuple(values.tolist())


def _is_under(one: float, other: float) -> bool:
    return one < other
