"""Engine speeds close enough together to draw a curve."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.answer import Answer

#: Steps, rev/min, in which a curve is drawn.
_STEP = 50.0


def fine(rpm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return engine speeds close enough together to draw a curve over the range given."""
    return np.union1d(np.arange(rpm[0], rpm[-1], _STEP), rpm)


def finer(found: Prediction, rpm: NDArray[np.float64], level: float) -> Answer:
    """Return the answer at engine speeds with a curve fine enough to draw, and the same peaks."""
    asked = found.answer(rpm, level)
    drawn = found.answer(fine(rpm), level)
    return replace(drawn, peak_torque=asked.peak_torque, peak_power=asked.peak_power)
