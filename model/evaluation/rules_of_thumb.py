"""Two rules of thumb that a model must beat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.learning import smooth_curves
from pullbook.model.learning.sample import charge

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Ints, Sample


def _per_cubic_inch(sample: Sample) -> Floats:
    """Return the logarithm of each reading per cubic inch of displacement, without boost."""
    ratio: Floats = np.log(charge(sample.table) / sample.table["displacement"].to_numpy(float))
    return sample.target + ratio[sample.sheet]


def mean_per_cubic_inch(sample: Sample, speeds: Floats) -> Floats:
    """Return the mean torque per cubic inch at each speed, as a logarithm, shape (points,).

    A speed that no sheet was swept over takes the value of the nearest one that was.
    """
    steps = np.clip(np.searchsorted(speeds, sample.rpm), 0, len(speeds) - 1)
    weight = sample.reading_weight()
    total = np.bincount(steps, weight * np.exp(_per_cubic_inch(sample)), len(speeds))
    count = np.bincount(steps, weight, len(speeds))
    seen = np.flatnonzero(count)
    mean = np.interp(speeds, speeds[seen], total[seen] / count[seen])
    log_mean: Floats = smooth_curves.smooth(np.log(mean)[None, :])[0]
    return log_mean


def nearest_sheet(sample: Sample, sheet: Ints, speeds: Floats) -> Floats:
    """Return measured curves of sheets, per cubic inch, as logarithms, shape (sheets, points).

    Times displacement they give the torque of "the nearest thing we have tested"; beyond the sweep
    the last reading is used.
    """
    curves = np.empty((len(sheet), len(speeds)))
    target = _per_cubic_inch(sample)
    starts = np.searchsorted(sample.sheet, np.arange(len(sample) + 1))
    for row, one in enumerate(sheet):
        rows = slice(starts[one], starts[one + 1])
        order = np.argsort(sample.rpm[rows], kind="stable")
        curves[row] = np.interp(speeds, sample.rpm[rows][order], target[rows][order])
    return curves
