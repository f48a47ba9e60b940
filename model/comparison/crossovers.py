"""Where two curves cross, and over which speeds nobody can tell which is higher."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.schemas.answer import Between

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pullbook.model.learning.sample import Floats

#: Step of the search, rev/min.
_FINE = 10.0


def fine_speeds(band: tuple[float, float]) -> Floats:
    """Return engine speeds over a band, close enough together to find where curves cross."""
    speeds: Floats = np.arange(band[0], band[1] + _FINE / 2, _FINE)
    return speeds


def find(
    band: tuple[float, float], value: Floats, unsure: NDArray[np.bool_] | None
) -> list[Between]:
    """Return where a difference changes sign, each with the speeds around it that are not clear.

    Parameters
    ----------
    band
        Lowest and highest engine speed, rev/min.
    value
        The difference at each of `fine_speeds`.
    unsure
        Whether zero is inside the limits of the difference at each; ``None`` without limits.

    """
    rpm = fine_speeds(band)
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
        low = float(rpm[before[-1]]) if len(before) else band[0]
        high = float(rpm[after[0]]) if len(after) else band[1]
        found.append(Between(where, low, high))
    return found
