"""Calibration: the errors of held-out sheets as multiples of the expected error.

Each regime has its own: for a build from a new shop, sheets are predicted by models that have seen
no sheet of their shop; for one from a known shop, by models that have seen other engines of their
shop, and corrected by that shop's offset; and so on. Limits for an engine family that the data has
never seen come from sheets whose family was left out as well.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullbook.model.learning import smooth_curves
from pullbook.model.limits import conformal, highest

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.limits.conformal import Scores
    from pullbook.model.limits.highest import PeakScores

_MOST_STEPS = 4000
#: Strength of the smoothing of a measured pull before its peak is found.
_PULL_STRENGTH = 0.5
#: Peaks, and ends of the range, have limits of their own if there are groups for this level.
_KIND_LEVEL = 0.9
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
        For the highest value over the answered range where it is predicted to be a peak.
    torque_end, power_end
        The same where it is predicted to lie at an end of the range.
    torque_rpm, power_rpm, torque_end_rpm, power_end_rpm
        For its engine speed: the absolute logarithm of a ratio.
    """

    point: Scores
    band: Scores
    mean: Scores
    torque: Scores
    power: Scores
    torque_end: Scores
    power_end: Scores
    torque_rpm: Scores
    power_rpm: Scores
    torque_end_rpm: Scores
    power_end_rpm: Scores


def peak_part(quantity: str, *, at_end: bool, speed: bool = False) -> str:
    """Return the part of `Regime` for the highest torque or power, or for its engine speed.

    >>> peak_part("power", at_end=True, speed=True)
    'power_end_rpm'
    """
    return f"{quantity}{'_end' if at_end else ''}{'_rpm' if speed else ''}"


#: What limits are for: a shop that the data has never seen, a new engine on a dyno of a circle's
#: data, one on a dyno of one's own data, and an engine measured before parts were changed.
REGIMES = ("new shop", "known shop", "own dyno", "measured engine")
#: Added to its name, what limits of a regime are for where the engine family is new too.
NEW_FAMILY = ", new family"
REGIME_PARTS = tuple(f.name for f in fields(Regime))


def calibrate(
    sample: Sample, group: Ints, speeds: Floats, curves: Floats, spread: Floats, answered: Floats
) -> Regime:
    """Return the scores of held-out sheets.

    Parameters
    ----------
    sample
        The sheets.
    group
        Number of what was left out with each sheet: its shop, engine or family.
    speeds
        The grid of engine speeds.
    curves
        Curves predicted without the sheet, shape (sheets, points).
    spread
        Expected errors without the sheet, shape (sheets, points).
    answered
        First and last engine speed that is answered for each sheet, shape (sheets, 2).

    """
    residual = sample.target - smooth_curves.at(curves, speeds, sample.sheet, sample.rpm)
    scale = smooth_curves.at(spread, speeds, sample.sheet, sample.rpm)
    score = np.abs(residual) / scale
    sheets = np.arange(len(sample))
    worst = np.zeros(len(sample))
    np.maximum.at(worst, sample.sheet, score)
    point = conformal.group_scores(score, sample.sheet, group)
    peaks: dict[str, Scores] = {}
    for quantity in ("torque", "power"):
        found = highest.scores(sample, speeds, curves, spread, answered, power=quantity == "power")
        peaks |= _of_kinds(quantity, found, group)
    return Regime(
        point=conformal.thinned(point, _MOST_STEPS),
        band=conformal.group_scores(worst, sheets, group),
        mean=conformal.group_scores(_means(sample, residual, scale), sheets, group),
        **peaks,
    )


def _of_kinds(quantity: str, found: PeakScores, group: Ints) -> dict[str, Scores]:
    """Return the scores of peaks and of ends; together where one of the kinds is too seldom."""
    scored = np.isfinite(found.height)
    kinds = [np.flatnonzero(scored & (found.at_end == at_end)) for at_end in (False, True)]
    if min(len(np.unique(group[rows])) for rows in kinds) < conformal.needed_groups(_KIND_LEVEL):
        kinds = [np.flatnonzero(scored)] * 2
    return {
        peak_part(quantity, at_end=at_end, speed=speed): conformal.group_scores(
            values[rows], rows, group
        )
        for at_end, rows in zip((False, True), kinds, strict=True)
        for speed, values in ((False, found.height), (True, found.rpm))
    }


def of_enough(regime: Regime | None) -> Regime | None:
    """Return a regime with enough groups for limits; ``None`` for one without."""
    return regime if regime is not None and regime.point.groups >= conformal.FEWEST else None


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


def measured_curve(rpm: Floats, target: Floats) -> tuple[Floats, Floats]:
    """Return a measured pull as one smoothed curve, speeds rising, repeated pulls averaged.

    The maximum of noisy readings is too high; that of the smoothed curve is not.
    """
    speeds, place = np.unique(rpm, return_inverse=True)
    mean = np.bincount(place, target) / np.bincount(place)
    return speeds, smooth_curves.smooth(mean[None, :], _PULL_STRENGTH)[0]
