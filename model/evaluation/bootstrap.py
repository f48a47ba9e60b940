"""Confidence limits of a figure, by resampling shops, since sheets of one shop are not independent.

An interval that treats them as independent would be too narrow (the cluster bootstrap; Davison and
Hinkley, Bootstrap methods and their application, 1997, section 3.8).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Floats = NDArray[np.float64]

_TIMES = 1000
_SEED = 1
_TAILS = (0.05, 0.95)


def limits(
    values: Floats, shop: Sequence[object], statistic: Callable[[Floats], float]
) -> tuple[float, float, float]:
    """Return a statistic of sheets and its 90 % limits.

    Parameters
    ----------
    values
        A row a sheet.
    shop
        The shop of each sheet.
    statistic
        Function of such rows.

    Returns
    -------
    The statistic, its lower and its upper limit.

    Examples
    --------
    >>> limits(np.full(20, 0.9), list(range(20)), np.mean)
    (0.9, 0.9, 0.9)

    """
    names, number = np.unique(np.asarray(shop), return_inverse=True)
    rows = np.split(np.argsort(number, kind="stable"), np.cumsum(np.bincount(number))[:-1])
    rng = np.random.default_rng(_SEED)
    drawn = [
        statistic(values[np.concatenate([rows[one] for one in draw])])
        for draw in rng.integers(0, len(names), (_TIMES, len(names))).tolist()
    ]
    low, high = np.quantile(drawn, _TAILS).tolist()
    return round(float(statistic(values)), 6), round(low, 6), round(high, 6)
