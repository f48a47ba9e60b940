"""Torque of a load at engine speeds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullbook.schemas.on_request import PROPELLER, Load

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats = NDArray[np.float64]


def propeller_torque(rpm: Floats, known_rpm: float, known_torque: float) -> Floats:
    """Return the torque of a fixed propeller, which goes with the square of its speed.

    Power then goes with the cube: the propeller law of handbooks of naval architecture, from
    memory. It holds for a displacement hull at a steady speed; a planing hull takes less at speed
    and more at the hump (common practice), which a table can say.

    Parameters
    ----------
    rpm
        Engine speeds, rev/min.
    known_rpm, known_torque
        One speed and the torque there; the result is in its unit.

    Examples
    --------
    >>> propeller_torque(np.array([2000.0, 4000.0]), 4000.0, 200.0).tolist()
    [50.0, 200.0]

    """
    torque: Floats = known_torque * (np.asarray(rpm) / known_rpm) ** 2
    return torque


def torque_of(load: Load, rpm: Floats) -> Floats:
    """Return the torque of a load at engine speeds, lb-ft; rows of a table joined by lines."""
    if load.kind == PROPELLER:
        return propeller_torque(rpm, load.rpm[0], load.torque[0])
    torque: Floats = np.interp(rpm, load.rpm, load.torque)
    return torque


def speeds_of(load: Load, asked: Floats) -> Floats:
    """Return the asked engine speeds that a load covers, and its own ends.

    A propeller is covered up to the speed it was given at.
    """
    low, high = load.rpm[0], load.rpm[-1]
    if load.kind == PROPELLER:
        return np.append(asked[asked < high], high)
    return np.unique(np.concatenate([asked[(low < asked) & (asked < high)], [low, high]]))


def scaled(loads: Sequence[Load], factor: float) -> list[Load]:
    """Return loads with their torque multiplied by a factor."""
    return [one.times(factor) for one in loads]
