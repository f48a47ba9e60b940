"""Where two curves cross, and how uncertain that is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.schemas.answer import Between

if TYPE_CHECKING:
    from collections.abc import Callable

    from pullbook.model.learning.sample import Floats

#: Step of the search for crossovers, rev/min.
_FINE = 10.0


def crossovers(
    low: float,
    high: float,
    apart: Callable[[Floats], tuple[Floats, Floats]],
    factor: float | None,
) -> list[Between]:
    """Return where a difference changes sign in a band, rev/min.

    Parameters
    ----------
    low, high
        The band, rev/min.
    apart
        Returns the difference at engine speeds, and its expected error.
    factor
        The half-width of its limits, in expected errors; ``None`` without limits.

    """
    rpm = np.arange(low, high + _FINE / 2, _FINE)
    value, width = apart(rpm)
    unsure = None if factor is None else np.abs(value) <= factor * width
    found = []
    above = value > 0
    for at in np.flatnonzero(above[:-1] != above[1:]).tolist():
        share = value[at] / (value[at] - value[at + 1])
        where = float(rpm[at] + share * _FINE)
        if unsure is None:
            found.append(Between(where, None, None))
            continue
        sure = np.flatnonzero(~unsure)
        before, after = sure[sure <= at], sure[sure > at]
        first = float(rpm[before[-1]]) if len(before) else low
        last = float(rpm[after[0]]) if len(after) else high
        found.append(Between(where, first, last))
    return found
