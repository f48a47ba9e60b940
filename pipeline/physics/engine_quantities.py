"""Handbook quantities of a four-stroke piston engine, as pure functions of numbers or arrays.

Arguments and results are in SI units unless the docstring says otherwise; arrays keep their shape.
Sources are named where known.
"""

from __future__ import annotations

from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

Number = float | NDArray[np.float64]


def displacement(bore: Number, stroke: Number, cylinders: Number) -> Number:
    """Return the displacement of all cylinders, in the cube of the unit of bore and stroke.

    >>> round(displacement(4.0, 3.48, 8), 1)
    349.8
    """
    return np.pi / 4 * bore**2 * stroke * cylinders


def bore_of(volume: Number, stroke: Number, cylinders: Number) -> Number:
    """Return the bore that gives a displacement, in the unit of the stroke.

    >>> round(float(bore_of(349.85, 3.48, 8)), 2)
    4.0
    """
    return np.sqrt(volume / displacement(1.0, stroke, cylinders))


def stroke_of(volume: Number, bore: Number, cylinders: Number) -> Number:
    """Return the stroke that gives a displacement, in the unit of the bore.

    >>> round(float(stroke_of(349.85, 4.0, 8)), 2)
    3.48
    """
    return volume / displacement(bore, 1.0, cylinders)


#: Fields that a displacement is worked out from; the first two are lengths.
SIZE_FIELDS = ("bore", "stroke", "cylinders")
DISPLACEMENT = "displacement"


class Columns(Protocol):
    """Anything that gives a field by its name: a mapping, a table."""

    def __getitem__(self, name: str, /) -> Any:
        """Return the numbers of a field."""

    def __contains__(self, name: object, /) -> bool:
        """Return whether there is such a field."""


class EngineSize(NamedTuple):
    """Swept volume of an engine and of one of its cylinders, in the cube of one unit."""

    engine: Number
    cylinder: Number


def size_of(fields: Columns) -> EngineSize:
    """Return the size of the engine that fields describe.

    Parameters
    ----------
    fields
        ``bore``, ``stroke`` and ``cylinders``, and ``displacement``, which counts where bore or
        stroke is missing: numbers, arrays, or columns of a table.

    >>> size = size_of({"bore": 4.0, "stroke": 3.48, "cylinders": 8})
    >>> [round(float(volume), 1) for volume in size]
    [349.8, 43.7]
    """
    bore, stroke, cylinders = (np.asarray(fields[name], dtype=float) for name in SIZE_FIELDS)
    engine, cylinder = displacement(bore, stroke, cylinders), displacement(bore, stroke, 1)
    if DISPLACEMENT in fields:
        given = np.asarray(fields[DISPLACEMENT], dtype=float)
        unknown = np.isnan(engine)
        engine = np.where(unknown, given, engine)
        cylinder = np.where(unknown, given / cylinders, cylinder)
    return EngineSize(np.asarray(engine), np.asarray(cylinder))


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
