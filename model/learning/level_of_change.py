"""How much of a predicted change of level is to be believed, between two sheets of one engine.

Which parts an engine has is never known exactly, so the difference in level that a curve model
predicts between two builds of one engine is too large on average: the regression of what was
measured on it is flatter than one (regression dilution; Fuller, Measurement Error Models, 1987,
ch. 1, from memory). How torque changes over engine speed shows no such thing. So the levels of
curves are drawn together before effects start from them, by a share learned on held-out sheets.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.learning import smooth_curves

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Ints, Sample

#: Standard deviation of the error of one difference of levels, and of what the share may be beside
#: 1 before anything was seen. Orders of magnitude: common practice, no source.
_ERROR, _SHARE_SD = 0.02, 0.25
#: Speeds that two sheets are compared at, over the range that both swept.
_POINTS = 9


@dataclass(frozen=True, slots=True)
class Levels:
    """How levels of curves are drawn together.

    Attributes
    ----------
    share
        What is left of a difference of levels, from 0 to 1.
    center
        The level that stays as it is.
    band
        The engine speeds that the level is the mean over, rev/min.
    """

    share: float
    center: float
    band: tuple[float, float]

    def drawn(self, curves: Floats, speeds: Floats) -> Floats:
        """Return curves with their levels drawn together, shape (builds, speeds)."""
        level = _level(curves, speeds, self.band)
        drawn: Floats = curves - (1 - self.share) * (level - self.center)[:, None]
        return drawn


#: Levels that stay as they are.
AS_THEY_ARE = Levels(1.0, 0.0, (0.0, np.inf))


def learn(sample: Sample, curves: Floats, speeds: Floats, engine: Ints) -> Levels:
    """Return how far the levels of curves are to be drawn together.

    Parameters
    ----------
    sample
        The sheets.
    curves
        Their curves, predicted without them, shape (sheets, speeds).
    speeds
        The grid of engine speeds, rev/min.
    engine
        Number of the engine of each sheet, below 0 for one that is not known, shape (sheets,).

    """
    squares = products = (_ERROR / _SHARE_SD) ** 2
    for number in np.unique(engine[engine >= 0]):
        own = np.flatnonzero(engine == number).tolist()
        pairs = [_of_pair(sample, curves, speeds, *pair) for pair in combinations(own, 2)]
        # Of the n (n - 1) / 2 differences of n sheets only n - 1 are independent.
        for predicted, measured in filter(None, pairs):
            squares += 2 / len(own) * predicted**2
            products += 2 / len(own) * predicted * measured
    low, high = np.median(sample.sweeps(), axis=0).tolist()
    center = float(_level(curves, speeds, (low, high)).mean())
    return Levels(min(1.0, max(0.0, products / squares)), center, (low, high))


def _of_pair(
    sample: Sample, curves: Floats, speeds: Floats, i: int, j: int
) -> tuple[float, float] | None:
    """Return the predicted and the measured difference of level of two sheets, if any."""
    pulls = [_pull(sample, sheet) for sheet in (i, j)]
    low, high = max(pull[0][0] for pull in pulls), min(pull[0][-1] for pull in pulls)
    if high <= low:
        return None
    rpm = np.linspace(low, high, _POINTS)
    first, second = (float(np.interp(rpm, *pull).mean()) for pull in pulls)
    predicted = smooth_curves.reader(speeds, rpm) @ (curves[i] - curves[j])
    return float(predicted.mean()), first - second


def _pull(sample: Sample, sheet: int) -> tuple[Floats, Floats]:
    rows = np.arange(*np.searchsorted(sample.sheet, [sheet, sheet + 1]))
    rows = rows[np.argsort(sample.rpm[rows], kind="stable")]
    return sample.rpm[rows], sample.target[rows]


def _level(curves: Floats, speeds: Floats, band: tuple[float, float]) -> Floats:
    """Return the mean of curves over a band, shape (builds,)."""
    inside = (speeds >= band[0]) & (speeds <= band[1])
    level: Floats = curves[:, inside if inside.any() else slice(None)].mean(axis=1)
    return level
