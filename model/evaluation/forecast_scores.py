"""Scores of a forecast with limits; lower is better, and both width and misses count.

Both are proper scoring rules: a forecaster does best by stating their true belief (Gneiting and
Raftery, Strictly proper scoring rules, prediction, and estimation, Journal of the American
Statistical Association 102, 2007).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def interval_score(low: Floats, high: Floats, value: Floats, level: float) -> Floats:
    """Return the width of limits plus 2 / (1 - level) times the distance of a value outside them.

    Parameters
    ----------
    low, high, value
        Arrays of one shape and one unit, which is the unit of the score.
    level
        Level of the limits.

    Examples
    --------
    >>> print(interval_score(np.array(1.0), np.array(4.0), np.array(5.0), 0.8).round(9))
    13.0

    """
    outside = np.maximum(low - value, 0.0) + np.maximum(value - high, 0.0)
    score: Floats = high - low + 2 / (1 - level) * outside
    return score


def crps(quantiles: Floats, shares: Floats, value: Floats) -> Floats:
    """Return the continuous ranked probability score of a forecast given by its quantiles.

    It is twice the mean over the quantiles of their weighted errors (Laio and Tamea, Verification
    tools for probabilistic forecasts, 2007); exact for an ensemble whose members are the quantiles
    at the middles of equal steps.

    Parameters
    ----------
    quantiles
        Shape (shares, values).
    shares
        Middles of equal steps from 0 to 1, shape (shares,).
    value
        Measured values, shape (values,).

    Returns
    -------
    Shape (values,), in the unit of the values.

    Examples
    --------
    The ensemble 0, 1, 3 and the measured value 1:

    >>> shares = (np.arange(3) + 0.5) / 3
    >>> print(crps(np.array([[0.0], [1.0], [3.0]]), shares, np.array([1.0])).round(9))
    [0.33333333]

    """
    short = value - quantiles
    share = shares[:, None]
    score: Floats = 2 * np.mean(np.maximum(share * short, (share - 1) * short), axis=0)
    return score
