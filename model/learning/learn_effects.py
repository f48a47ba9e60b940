"""Learn the constants of effects: how large each kind is, and the weight of the starting curve.

Their marginal likelihood times a wide prior is maximised (Rasmussen and Williams, Gaussian
Processes for Machine Learning, 2006, ch. 5; MacKay, Bayesian interpolation, 1992).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_solve
from scipy.linalg.lapack import dpotri
from scipy.optimize import minimize

from pullbook.model.learning.effects import (
    EFFECTS,
    LABELS,
    PARTS,
    Constants,
    cholesky,
    over_speed,
)
from pullbook.model.learning.part_kernel import COLUMNS

if TYPE_CHECKING:
    from pullbook.model.learning.effects import Readings
    from pullbook.model.learning.part_kernel import Floats, Inputs

#: Standard deviations to start from, of the logarithm of torque, and how wide the prior of the
#: logarithm of their squares is. Orders of magnitude: common practice, no source.
_SD = np.array([*([0.03] * len(COLUMNS)), 0.05, 0.03, 0.03, 0.02, 0.008, 0.008])
_PRIOR = np.array([*([2.0] * len(PARTS)), *([1.5] * (len(LABELS) + 2))])
#: Mean and standard deviation of the prior of the weight of the starting curve, and its bounds.
_WEIGHT, _WEIGHT_SD, _WEIGHTS = 0.8, 0.5, (0.0, 1.3)
_LEVEL_SD = 0.3
_STEPS = 40


def learn(
    inputs: Inputs,
    readings: Readings,
    first: Constants | None = None,
    *,
    weight: float | None = None,
    steps: int = _STEPS,
) -> Constants:
    """Return the constants of highest marginal likelihood times prior.

    Parameters
    ----------
    inputs
        How builds become points.
    readings
        What was measured.
    first
        Constants to start the search from.
    weight
        The weight of the starting curve where it is not to be learned. With 0 there is none; above
        0 the curve is taken as it is, level included.
    steps
        Most steps of the search.

    """
    center, level = (float(readings.start.mean()), float(readings.target.mean())), _LEVEL_SD**2
    if weight is not None and weight > 0:
        center, level = (0.0, 0.0), 0.0
    search = _Likelihood(inputs, readings, center, level)
    variances = _SD**2 if first is None else first.variances
    begin = weight if weight is not None else _WEIGHT if first is None else first.weight
    bounds = [(-25.0, 2.0)] * len(EFFECTS) + [_WEIGHTS if weight is None else (weight, weight)]
    found = minimize(
        search, np.append(np.log(variances), begin), jac=True, method="L-BFGS-B", bounds=bounds,
        options={"maxiter": steps},
    )  # fmt: skip
    return Constants(np.exp(found.x[:-1]), float(found.x[-1]), center, level)


class _Likelihood:
    """Minus the logarithm of marginal likelihood times prior, with its gradient."""

    def __init__(
        self, inputs: Inputs, readings: Readings, center: tuple[float, float], level: float
    ) -> None:
        self._readings = readings
        self._like = inputs.likeness(readings.places, readings.places)
        labels = readings.labels
        self._alike = np.stack(
            [labels[:, None, at] == labels[None, :, at] for at in range(len(LABELS))]
            + [np.eye(len(labels), dtype=bool)]
        ).astype(float)
        self._pick = np.ix_(readings.sheet, readings.sheet)
        self._parts, self._labels = over_speed(readings.speed, readings.speed)
        same = readings.sheet[:, None] == readings.sheet[None, :]
        self._fixed = level + same * readings.doubt[readings.sheet]
        self._start, self._target = readings.start - center[0], readings.target - center[1]
        counts = np.bincount(readings.sheet, minlength=len(readings.places))
        self._bounds = np.r_[0, np.cumsum(counts)[:-1]]

    def __call__(self, given: Floats) -> tuple[float, Floats]:
        """Return the value and its gradient at logarithms of variances, then a weight."""
        logs, weight = given[:-1], given[-1]
        var = np.exp(logs)
        parts = np.tensordot(var[: len(PARTS)], self._like, axes=1)
        labels = np.tensordot(var[len(PARTS) : -1], self._alike, axes=1)
        matrix = parts[self._pick] * self._parts
        matrix += labels[self._pick] * self._labels
        matrix += self._fixed
        matrix[np.diag_indices(len(matrix))] += var[-1]
        root = cholesky(matrix)
        off = self._target - weight * self._start
        solved = cho_solve((root, True), off, check_finite=False)
        inverse, _ = dpotri(root, lower=1)  # its lower triangle, zeros above
        diagonal = inverse.diagonal().copy()
        inverse = inverse + inverse.T
        inverse[np.diag_indices(len(inverse))] = diagonal
        away, tilt = logs - np.log(_SD**2), weight - _WEIGHT
        value = 0.5 * off @ solved + np.log(np.diag(root)).sum()
        value += 0.5 * np.sum((away / _PRIOR) ** 2) + 0.5 * (tilt / _WEIGHT_SD) ** 2
        inverse -= np.outer(solved, solved)
        by_parts, by_labels = (
            self._by_sheet(inverse * speed) for speed in (self._parts, self._labels)
        )
        gradient = np.concatenate(
            [
                np.tensordot(self._like, by_parts, axes=2),
                np.tensordot(self._alike, by_labels, axes=2),
                [np.trace(inverse)],
            ]
        )
        gradient = 0.5 * var * gradient + away / _PRIOR**2
        slope = -(self._start @ solved) + tilt / _WEIGHT_SD**2
        return float(value), np.append(gradient, slope)

    def _by_sheet(self, matrix: Floats) -> Floats:
        """Return the sums of a matrix over the readings of each pair of sheets."""
        rows = np.add.reduceat(matrix, self._bounds, axis=0)
        sums: Floats = np.add.reduceat(rows, self._bounds, axis=1)
        return sums
