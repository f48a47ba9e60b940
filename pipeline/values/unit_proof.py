"""Units that torque and power prove together: torque times speed is power.

Torque times rpm over power is 5252 for lb-ft and hp, 7043 for lb-ft and kW, 7024 for N.m and PS,
7121 for N.m and hp, 9549 for N.m and kW: the definitions of the units. Two of them are 0.3 % apart,
and a wrong choice between those costs 36 %, so a pair counts as proven only if the rounding of all
rows together rules out every other.
"""

from __future__ import annotations

import math
from statistics import stdev
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.vocabulary.units import scale

if TYPE_CHECKING:
    from collections.abc import Sequence

TORQUE_UNITS, POWER_UNITS = ("lb-ft", "N.m", "kgf.m"), ("hp", "kW", "PS")
#: Rows that must fit, as a share: a typing mistake in one row is no proof of another unit.
_FITTING = 0.9
_FEWEST = 4
#: Where no pair fits within the rounding, readings may scatter by their standard deviation so many
#: times, and no further than this share.
_NOISE, _TIMES = 0.01, 2.0
#: The mean of all rows may be off by so many of its standard deviations, and by this share.
_SURE, _LEAST = 3.5, 1e-4
_DECIMALS = 6


class Rounded(NamedTuple):
    """A column of numbers as written, and half the step that they are rounded to."""

    numbers: Sequence[float | None]
    half: float


def half_step(texts: Sequence[str], mark: str | None) -> float:
    """Return half the step that numbers are rounded to, from their digits after the decimal mark.

    >>> half_step(["345.2", "356"], None), half_step(["2000", "2500"], None)
    (0.05, 0.5)
    """
    decimals = 0
    for text in texts:
        _, found, after = text.strip().rpartition("," if mark == "," else ".")
        digits = len(after) - len(after.lstrip("0123456789"))
        decimals = max(decimals, digits if found else 0)
    return 0.5 * 10.0 ** -min(decimals, _DECIMALS)


def constant(torque_unit: str, power_unit: str) -> float:
    """Return torque times rpm over power in these units.

    >>> round(constant("N.m", "kW"), 1), round(constant("lb-ft", "kW"), 1)
    (9549.3, 7043.2)
    """
    return TORQUE_POWER_CONSTANT * scale(power_unit, "hp")[0] / scale(torque_unit, "lb-ft")[0]


def pairs(
    rpm: Rounded,
    torque: Rounded,
    power: Rounded,
    torque_units: Sequence[str] = TORQUE_UNITS,
    power_units: Sequence[str] = POWER_UNITS,
) -> list[tuple[str, str]]:
    """Return the pairs of units that the rows do not rule out; one alone is proven.

    Parameters
    ----------
    rpm, torque, power
        The columns, in step.
    torque_units, power_units
        The units to choose from.

    """
    rows = [
        row
        for one in zip(rpm.numbers, torque.numbers, power.numbers, strict=True)
        if (row := _row(one, (rpm.half, torque.half, power.half))) is not None
    ]
    if len(rows) < _FEWEST:
        return []
    candidates = {(t, p): constant(t, p) for t in torque_units for p in power_units}
    scatter = _TIMES * stdev(ratio for ratio, _ in rows)
    for noise in (0.0, min(scatter, _NOISE)):
        left = [pair for pair, value in candidates.items() if _fits(rows, math.log(value), noise)]
        if left:
            return left
    return []


def _row(
    row: tuple[float | None, float | None, float | None], halves: tuple[float, float, float]
) -> tuple[float, float] | None:
    """Return the logarithm of torque times rpm over power, and how far rounding moves it."""
    speed, torque, power = row
    if speed is None or torque is None or power is None:
        return None
    if min(speed - halves[0], torque - halves[1], power - halves[2]) <= 0:
        return None
    off = halves[0] / speed + halves[1] / torque + halves[2] / power
    return math.log(speed * torque / power), off


def _fits(rows: list[tuple[float, float]], value: float, noise: float) -> bool:
    """Return whether a constant fits the rows, one by one and in the mean of all.

    Rounding moves single rows either way, and their mean much less.
    """
    widths = [max(off, noise, _LEAST) for _, off in rows]
    far = [ratio - value for ratio, _ in rows]
    fitting = sum(abs(one) <= width for one, width in zip(far, widths, strict=True))
    weights = [1 / width**2 for width in widths]
    mean = sum(one * weight for one, weight in zip(far, weights, strict=True)) / sum(weights)
    sd = 1 / math.sqrt(3 * sum(weights))  # of a number rounded evenly: half a step over root three
    return fitting >= _FITTING * len(rows) and abs(mean) <= _SURE * sd + _LEAST
