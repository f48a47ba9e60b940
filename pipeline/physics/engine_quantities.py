"""Handbook quantities of a four-stroke piston engine, as pure functions of numbers or arrays.

Arguments and results are in SI units unless the docstring says otherwise; arrays keep their shape.
Sources are named where known.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Number = float | NDArray[np.float64]

INCH = 0.0254
#: One foot pound-force in newton metres, exact by the definitions of inch, pound and gravity.
LBFT = 1.3558179483314004
CUBIC_INCH = INCH**3


def displacement(bore: Number, stroke: Number, cylinders: Number) -> Number:
    """Return the displacement of all cylinders, in the cube of the unit of bore and stroke.

    >>> round(displacement(4.0, 3.48, 8), 1)
    349.8
    """
    return np.pi / 4 * bore**2 * stroke * cylinders


def mean_piston_speed(stroke: Number, rpm: Number) -> Number:
    """Return the mean piston speed, m/s, of a stroke in m at a speed in rev/min.

    Heywood, Internal Combustion Engine Fundamentals, eq. 2.9, from memory.

    >>> round(mean_piston_speed(0.086, 3600), 2)
    10.32
    """
    return 2 * stroke * rpm / 60


def brake_power(torque: Number, rpm: Number) -> Number:
    """Return the power, W, of a torque in N.m at a speed in rev/min.

    >>> round(brake_power(205, 3600) / 1000, 1)
    77.3
    """
    return 2 * np.pi * torque * rpm / 60


def brake_mean_effective_pressure(torque: Number, volume: Number) -> Number:
    """Return the brake mean effective pressure, Pa, of a torque in N.m and a volume in m3.

    Two revolutions a cycle: Pulkrabek, Engineering Fundamentals of the Internal Combustion
    Engine, from memory.

    >>> round(brake_mean_effective_pressure(205, 0.003) / 1000)
    859
    """
    return 4 * np.pi * torque / volume
