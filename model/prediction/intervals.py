"""A predicted value with limits at the same ratio above and below it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pullbook.schemas.answer import Between

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats


def betweens(values: Floats, width: Floats, factor: float | None) -> list[Between]:
    """Return `between` of many values."""
    if factor is None:
        return [Between(value, None, None) for value in values.tolist()]
    ratio = np.exp(width * factor)
    return list(map(Between, values.tolist(), (values / ratio).tolist(), (values * ratio).tolist()))


def within(speed: Between, rpm: Floats) -> Between:
    """Return the speed of a peak with limits that do not reach beyond the speeds answered."""
    if speed.low is None or speed.high is None:
        return speed
    first, last = float(rpm[0]), float(rpm[-1])
    return Between(speed.value, max(speed.low, first), min(speed.high, last))


def between(value: float, width: float, factor: float | None) -> Between:
    """Return a value with limits at the same ratio above and below it."""
    if factor is None:
        return Between(value, None, None)
    ratio = math.exp(width * factor)
    return Between(value, value / ratio, value * ratio)
