"""Curves over engine speed: their grid, smoothing, values between grid points, and peaks.

Trees give a curve in steps; smoothing removes them. The smoother is Whittaker's with second
differences (Eilers, A perfect smoother, Analytical Chemistry 2003): it keeps a straight line as it
is and changes a gentle curve very little.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

POINTS = 41
#: Strength of the smoothing, for grid steps of one fortieth of the range.
STRENGTH = 2.0


def grid(low: float, high: float) -> Floats:
    """Return the grid of engine speeds of a model, rev/min, from low to high."""
    return np.linspace(low, high, POINTS)


def whittaker(points: int, strength: float) -> Floats:
    """Return the matrix that smooths values at equal steps.

    Shape (points, points); fewer than three points are not smoothed.

    >>> line = np.arange(5.0)
    >>> bool(np.allclose(whittaker(5, 10.0) @ line, line))
    True
    """
    if points < 3:
        return np.eye(points)
    bend = np.diff(np.eye(points), n=2, axis=0)
    stiff: Floats = np.eye(points) + strength * (bend.T @ bend)
    return np.asarray(np.linalg.inv(stiff), dtype=np.float64)


def smooth(curves: Floats, strength: float = STRENGTH) -> Floats:
    """Return curves, shape (builds, points), smoothed over engine speed."""
    return curves @ whittaker(curves.shape[1], strength)


def at(curves: Floats, speeds: Floats, build: NDArray[np.int64], rpm: Floats) -> Floats:
    """Return curves at engine speeds between the points of their grid.

    By a cubic through the points; beyond the ends of the grid the last value is used.

    Parameters
    ----------
    curves
        Shape (builds, points).
    speeds
        The grid, shape (points,), at equal steps.
    build, rpm
        Curve and engine speed of each wanted value, shape (readings,).

    Returns
    -------
    Shape (readings,).

    """
    first, weights = _weights(speeds, rpm)
    padded = np.hstack(
        [2 * curves[:, :1] - curves[:, 1:2], curves, 2 * curves[:, -1:] - curves[:, -2:-1]]
    )
    value = np.zeros(len(rpm))
    for place, weight in enumerate(weights):
        value += weight * padded[build, first + place]
    return value


def reader(speeds: Floats, rpm: Floats) -> Floats:
    """Return the matrix that evaluates a curve between the points of its grid, as `at` does.

    For many curves at the same engine speeds. Shape (readings, points).
    """
    first, weights = _weights(speeds, rpm)
    padded = np.zeros((len(rpm), len(speeds) + 2))
    for place, weight in enumerate(weights):
        padded[np.arange(len(rpm)), first + place] = weight
    matrix = padded[:, 1:-1]
    for beyond, end, next_ in ((padded[:, 0], 0, 1), (padded[:, -1], -1, -2)):
        matrix[:, end] += 2 * beyond
        matrix[:, next_] -= beyond
    return matrix


def reader_of(speeds: Floats, rpm: Floats) -> Floats:
    """Return `reader`, cached for the same engine speeds."""
    return _cached_reader(speeds.tobytes(), np.asarray(rpm, dtype=float).tobytes())


@lru_cache(maxsize=64)
def _cached_reader(speeds: bytes, rpm: bytes) -> Floats:
    return reader(np.frombuffer(speeds), np.frombuffer(rpm))


def _weights(speeds: Floats, rpm: Floats) -> tuple[NDArray[np.int64], tuple[Floats, ...]]:
    """Return the first of the four points around each engine speed, and the weight of each.

    Catmull and Rom's cubic goes through every point, with slopes from the neighbours. Points are
    numbered from the one before the grid, which is in line with the first two.
    """
    place = np.clip((rpm - speeds[0]) / (speeds[1] - speeds[0]), 0.0, len(speeds) - 1.0)
    first = np.minimum(place.astype(np.int64), len(speeds) - 2)
    t = place - first
    half, square = 0.5 * t, t * t
    return first, (
        half * (2 * t - 1 - square),
        1 + 0.5 * square * (3 * t - 5),
        half * (1 + 4 * t - 3 * square),
        0.5 * square * (t - 1),
    )


def peak(speeds: Floats, values: Floats) -> tuple[float, float, bool]:
    """Return the highest value of a curve, its engine speed, and whether it is at an end.

    A parabola through the highest point and its neighbours gives the peak between points. The
    speeds must rise; their steps may differ.

    >>> height, rpm, at_end = peak(np.array([1.0, 2.0, 3.0]), np.array([3.0, 4.0, 3.0]))
    >>> round(height, 6), round(rpm, 6), at_end
    (4.0, 2.0, False)
    """
    top = int(np.argmax(values))
    if top in (0, len(values) - 1):
        return float(values[top]), float(speeds[top]), True
    before, where, after = speeds[top - 1 : top + 2].tolist()
    low, height, high = values[top - 1 : top + 2].tolist()
    rise, fall = (height - low) / (where - before), (high - height) / (after - where)
    bend = (fall - rise) / (after - before)
    if bend == 0.0:
        return height, where, False
    slope = rise + bend * (where - before)
    shift = min(max(-slope / (2 * bend), before - where), after - where)
    return height + shift * (slope + shift * bend), where + shift, False
