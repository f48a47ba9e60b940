"""Units that torque and power prove together: torque times speed is power.

Torque times rpm over power is 5252 for lb-ft and hp, 7043 for lb-ft and kW, 7024 for N.m and PS,
7121 for N.m and hp, 9549 for N.m and kW: the definitions of the units. Two of them are 0.3 % apart,
and a wrong choice between those costs 36 %, so a pair counts as proven only if the rounding of all
rows together rules out every other.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.vocabulary.units import scale

if TYPE_CHECKING:
    from collections.abc import Sequence

TORQUE_UNITS, POWER_UNITS = ("lb-ft", "N.m", "kgf.m"), ("hp", "kW", "PS")
#: Rows that must fit, as a share: a typing mistake in one row is no proof of another unit.
_FITTING = 0.9
_FEWEST = 4
#: Where no pair fits within the rounding, readings may be so far off, as a share.
_NOISE = 0.01
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
    bounds = [
        bound
        for row in zip(rpm.numbers, torque.numbers, power.numbers, strict=True)
        if (bound := _bounds(row, (rpm.half, torque.half, power.half))) is not None
    ]
    if len(bounds) < _FEWEST:
        return []
    candidates = {(t, p): constant(t, p) for t in torque_units for p in power_units}
    for noise in (0.0, _NOISE):
        left = [
            pair for pair, value in candidates.items() if _share(bounds, value, noise) >= _FITTING
        ]
        if left:
            return left
    return []


def _bounds(
    row: tuple[float | None, float | None, float | None], halves: tuple[float, float, float]
) -> tuple[float, float] | None:
    """Return between which numbers torque times rpm over power lies in a row."""
    speed, torque, power = row
    if speed is None or torque is None or power is None:
        return None
    if min(speed - halves[0], torque - halves[1], power - halves[2]) <= 0:
        return None
    low = (speed - halves[0]) * (torque - halves[1]) / (power + halves[2])
    return low, (speed + halves[0]) * (torque + halves[1]) / (power - halves[2])


def _share(bounds: list[tuple[float, float]], value: float, noise: float) -> float:
    fitting = sum(low * (1 - noise) <= value <= high * (1 + noise) for low, high in bounds)
    return fitting / len(bounds)
