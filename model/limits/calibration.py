"""Calibration: the errors of held-out sheets as multiples of the expected error.

There are two regimes. For a build from a new shop, sheets are predicted by models that have seen no
sheet of their shop. For a build from a known shop, they are predicted by models that have seen
other sheets of their shop, and corrected by that shop's offset.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullbook.model.learning import smooth_curves
from pullbook.model.limits import conformal

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.limits.conformal import Scores

_MOST_STEPS = 4000
#: Strength of the smoothing of a measured pull before its peak is found.
_PULL_STRENGTH = 0.5
#: The middle half of a sweep.
_BAND = (0.25, 0.75)


@dataclass(frozen=True, slots=True)
class Regime:
    """Scores of one regime: errors of held-out sheets as multiples of the expected error.

    Attributes
    ----------
    point
        For a single reading.
    band
        For all readings of a pull at once.
    mean
        For the mean over a band, here the middle half of each sweep.
    torque, power
        For the height of the peak.
    torque_rpm, power_rpm
        For the engine speed of the peak: the absolute logarithm of a ratio. A peak at the end of
        the sweep is left out, since the true peak may be beyond it.
    """

    point: Scores
    band: Scores
    mean: Scores
    torque: Scores
    power: Scores
    torque_rpm: Scores
    power_rpm: Scores


#: What limits are for: a shop that the data has never seen, a new engine on a dyno of a circle's
#: data, one on a dyno of one's own data, and an engine measured before parts were changed.
REGIMES = ("new shop", "known shop", "own dyno", "measured engine")
REGIME_PARTS = tuple(f.name for f in fields(Regime))


def calibrate(
    sample: Sample, shop: Ints, speeds: Floats, curves: Floats, spread: Floats, offset: Floats
) -> Regime:
    """Return the scores of held-out sheets.

    Parameters
    ----------
    sample
        The sheets.
    shop
        Number of the shop of each sheet.
    speeds
        The grid of engine speeds.
    curves
        Curves predicted without the sheet, shape (sheets, points).
    spread
        Expected errors without the sheet, shape (sheets, points).
    offset
        Offset of its shop for each sheet, shape (sheets,); zeros where it is not known.

    """
    known = curves + offset[:, None]
    residual = sample.target - smooth_curves.at(known, speeds, sample.sheet, sample.rpm)
    scale = smooth_curves.at(spread, speeds, sample.sheet, sample.rpm)
    score = np.abs(residual) / scale
    sheets = np.arange(len(sample))
    worst = np.zeros(len(sample))
    np.maximum.at(worst, sample.sheet, score)
    torque = _peaks(sample, speeds, known, spread, power=False)
    power = _peaks(sample, speeds, known, spread, power=True)
    point = conformal.group_scores(score, sample.sheet, shop)
    return Regime(
        point=conformal.thinned(point, _MOST_STEPS),
        band=conformal.group_scores(worst, sheets, shop),
        mean=conformal.group_scores(_means(sample, residual, scale), sheets, shop),
        torque=conformal.group_scores(torque[0], sheets, shop),
        power=conformal.group_scores(power[0], sheets, shop),
        torque_rpm=_inner(torque, shop),
        power_rpm=_inner(power, shop),
    )


def middle(sheet: Ints, rpm: Floats, sheets: int) -> NDArray[np.bool_]:
    """Return which readings are in the middle half of their sheet's sweep; all, if none is."""
    low, high = np.full(sheets, np.inf), np.full(sheets, -np.inf)
    np.minimum.at(low, sheet, rpm)
    np.maximum.at(high, sheet, rpm)
    place = (rpm - low[sheet]) / np.maximum(high - low, 1e-9)[sheet]
    inside: NDArray[np.bool_] = (place >= _BAND[0]) & (place <= _BAND[1])
    none: NDArray[np.bool_] = np.bincount(sheet, inside, sheets) == 0
    chosen: NDArray[np.bool_] = inside | none[sheet]
    return chosen


def _means(sample: Sample, residual: Floats, scale: Floats) -> Floats:
    """Return the error of each sheet's mean over a band, as a multiple of the expected error."""
    rows = middle(sample.sheet, sample.rpm, len(sample))
    sheet = sample.sheet[rows]
    error = np.bincount(sheet, residual[rows], len(sample))
    expected = np.bincount(sheet, scale[rows], len(sample))
    score: Floats = np.abs(error) / expected
    return score


def _inner(peaks: tuple[Floats, Floats], shop: Ints) -> Scores:
    seen = np.flatnonzero(~np.isnan(peaks[1]))
    return conformal.group_scores(peaks[1][seen], seen, shop)


def _peaks(
    sample: Sample, speeds: Floats, curves: Floats, spread: Floats, *, power: bool
) -> tuple[Floats, Floats]:
    """Return for each sheet the scores of the peak's height and of its engine speed."""
    height, place = np.zeros(len(sample)), np.full(len(sample), np.nan)
    starts = np.searchsorted(sample.sheet, np.arange(len(sample) + 1))
    for i in range(len(sample)):
        rows = slice(starts[i], starts[i + 1])
        rpm, measured = measured_curve(sample.rpm[rows], sample.target[rows])
        same = np.zeros(len(rpm), dtype=np.int64)
        predicted = smooth_curves.at(curves[i : i + 1], speeds, same, rpm)
        tilt = np.log(rpm) if power else 0.0
        top, where, censored = smooth_curves.peak(rpm, np.exp(measured + tilt))
        guess, guessed, _ = smooth_curves.peak(rpm, np.exp(predicted + tilt))
        scale = smooth_curves.at(spread[i : i + 1], speeds, same[:1], np.array([where]))[0]
        height[i] = abs(np.log(top / guess)) / scale
        place[i] = np.nan if censored else abs(np.log(where / guessed))
    return height, place


def measured_curve(rpm: Floats, target: Floats) -> tuple[Floats, Floats]:
    """Return a measured pull as one smoothed curve, speeds rising, repeated pulls averaged.

    The maximum of noisy readings is too high; that of the smoothed curve is not.
    """
    speeds, place = np.unique(rpm, return_inverse=True)
    mean = np.bincount(place, target) / np.bincount(place)
    return speeds, smooth_curves.smooth(mean[None, :], _PULL_STRENGTH)[0]
