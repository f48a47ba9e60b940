"""A measured pull as one of the builds of a comparison."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pullbook.model.prediction.prediction import Prediction
from pullbook.model.trained.pulls import Pull

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AsMeasured(Prediction):
    """A build whose torque is what its own pull measured, at the reference condition.

    Its limits are those of testing it once more: of another mounting, and the noise of a pull.

    Attributes
    ----------
    pull
        The pull.
    """

    pull: Pull

    def torque(self, rpm: Floats) -> Floats:
        """Return measured torque at engine speeds, lb-ft, between readings by a straight line."""
        speeds, place = np.unique(self.pull.rpm, return_inverse=True)
        mean = np.bincount(place, self.pull.torque) / np.bincount(place)
        torque: Floats = np.interp(rpm, speeds, mean)
        return torque

    def supported(self, rpm: Floats) -> NDArray[np.bool_]:
        """Return which engine speeds the pull was swept over."""
        swept: NDArray[np.bool_] = (self.pull.rpm.min() <= rpm) & (rpm <= self.pull.rpm.max())
        return swept


def as_measured(found: Prediction, pull: Pull) -> AsMeasured:
    """Return a prediction that starts from a pull, nothing changed, with the pull's own torque."""
    parts = {one.name: getattr(found, one.name) for one in fields(Prediction)}
    return AsMeasured(**parts, pull=pull)
