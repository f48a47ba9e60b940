"""The highest value over the answered range: one definition for data, predictions and limits.

Answered is the highest predicted torque, or power, between the first and the last engine speed that
is supported. Measured is the highest reading between them. Most sweeps end before power turns over,
so the highest value often lies at the end of the range, where it is no peak. Which of the two an
answer is, a peak or the end, is known from the prediction alone, and each has limits of its own. A
sweep that does not reach the engine speeds around the predicted place cannot show how high the
value is, and is not scored.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pullbook.model.learning import smooth_curves

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Sample

#: Step of the search for the highest value, rev/min.
_FINE = 25.0
#: A sweep must reach so far beyond the predicted place, unless the range ends before; and it may
#: end so much before that, rev/min.
_BEYOND, _SHORT = 500.0, 150.0


class Highest(NamedTuple):
    """The highest value of a curve over a range: its height, engine speed, and whether at an end.

    An end is one of the range: the curve may be higher beyond it.
    """

    height: float
    rpm: float
    at_end: bool


class Miss(NamedTuple):
    """By how much a measured highest value misses the predicted one, as logarithms of ratios."""

    predicted: Highest
    height: float
    rpm: float


def fine_speeds(low: float, high: float) -> Floats:
    """Return the engine speeds that the highest value is looked for at, rev/min."""
    return np.append(np.arange(low, high, _FINE), high)


def highest(rpm: Floats, values: Floats) -> Highest:
    """Return the highest value of a curve at rising engine speeds."""
    return Highest(*smooth_curves.peak(rpm, values))


def miss(rpm: Floats, measured: Floats, fine: Floats, predicted: Floats) -> Miss | None:
    """Return by how much the highest reading misses the highest predicted value.

    Parameters
    ----------
    rpm, measured
        The readings, shape (readings,).
    fine, predicted
        Engine speeds over the answered range, and the predicted curve at them.

    Returns
    -------
    ``None`` where the sweep does not cover the engine speeds around the predicted place.

    """
    guess = highest(fine, predicted)
    low, high = max(fine[0], guess.rpm - _BEYOND), min(fine[-1], guess.rpm + _BEYOND)
    rows = (rpm >= fine[0]) & (rpm <= fine[-1])
    if not rows.any() or rpm.min() > low + _SHORT or rpm.max() < high - _SHORT:
        return None
    top = int(np.argmax(np.where(rows, measured, -np.inf)))
    return Miss(
        guess, float(np.log(measured[top] / guess.height)), float(np.log(rpm[top] / guess.rpm))
    )


class PeakScores(NamedTuple):
    """Scores of the highest value of each sheet, NaN where it is not scored, and the kind of it.

    ``height`` is in expected errors, ``rpm`` a logarithm of a ratio; shape (sheets,) each.
    """

    height: Floats
    rpm: Floats
    at_end: NDArray[np.bool_]


def scores(
    sample: Sample, speeds: Floats, curves: Floats, spread: Floats, answered: Floats, *, power: bool
) -> PeakScores:
    """Return the scores of held-out sheets.

    Parameters
    ----------
    sample
        The sheets.
    speeds
        The grid of engine speeds.
    curves, spread
        Curves and expected errors without the sheet, shape (sheets, speeds).
    answered
        First and last engine speed that is answered, shape (sheets, 2); NaN for none.
    power
        Whether of power; else of torque.

    """
    height, place = np.full(len(sample), np.nan), np.full(len(sample), np.nan)
    at_end = np.zeros(len(sample), dtype=bool)
    bounds = np.searchsorted(sample.sheet, np.arange(len(sample) + 1))
    for at, (low, high) in enumerate(answered.tolist()):
        if not low <= high:
            continue
        rows = slice(bounds[at], bounds[at + 1])
        fine = fine_speeds(low, high)
        rpm = sample.rpm[rows]
        predicted = np.exp(smooth_curves.reader_of(speeds, fine) @ curves[at])
        measured = np.exp(sample.target[rows])
        if power:
            predicted, measured = predicted * fine, measured * rpm
        found = miss(rpm, measured, fine, predicted)
        if found is None:
            continue
        width = smooth_curves.reader(speeds, np.array([found.predicted.rpm])) @ spread[at]
        height[at], place[at] = abs(found.height) / width[0], abs(found.rpm)
        at_end[at] = found.predicted.at_end
    return PeakScores(height, place, at_end)
