"""Limits of answers that come from effects: trials with whole engines left out.

For a new engine on a dyno of the data, its sheets are predicted from those of all other engines.
For an engine that was measured before parts were changed, one of its sheets is predicted from some
of its other sheets too, in any order. Every engine has the same weight.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.model.learning import effect_points
from pullbook.model.limits import calibration
from pullbook.model.range import tested_speeds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pullbook.model.learning.effects import Process, Readings
    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.limits.calibration import Regime


@dataclass(frozen=True, slots=True)
class HeldOut:
    """Sheets that a process knows nothing of: a fold.

    Attributes
    ----------
    process
        The process without the engines of these sheets.
    sheets
        Positions of the sheets in the sample.
    readings
        Their readings.
    start
        Their starting curves on the grid, shape (sheets, speeds).
    nearest
        Sweeps of the nearest sheets that are not left out, shape (sheets, nearest, 2).
    sweeps
        Their own sweeps, shape (sheets, 2).
    """

    process: Process
    sheets: Ints
    readings: Readings
    start: Floats
    nearest: Floats
    sweeps: Floats

    def part(self, keep: NDArray[np.bool_]) -> HeldOut:
        """Return some of the sheets."""
        some = np.flatnonzero(keep)
        return HeldOut(
            self.process, self.sheets[some], self.readings.part(some), self.start[some],
            self.nearest[some], self.sweeps[some],
        )  # fmt: skip

    def ahead(self, process: Process, of: Ints, speeds: Floats) -> effect_points.Ahead:
        """Return some of the sheets as builds to predict by a process."""
        places, labels = self.readings.places[of], self.readings.labels[of]
        return effect_points.Ahead(process, places, labels, self.start[of], speeds)

    def engines(self) -> list[Ints]:
        """Return the positions, among these sheets, of those of each engine."""
        engine = self.readings.labels[:, -1]
        return [np.flatnonzero(engine == number) for number in np.unique(engine)]


class Trials(NamedTuple):
    """Sheets predicted without themselves.

    Attributes
    ----------
    sheets
        Position of the sheet of each trial.
    curves, spread
        Predicted curve and its standard deviation on the grid, shape (trials, speeds).
    answered
        First and last engine speed that would be answered, shape (trials, 2).
    """

    sheets: Ints
    curves: Floats
    spread: Floats
    answered: Floats

    def of(self, keep: NDArray[np.bool_]) -> Trials:
        """Return the trials of some of the sheets, ``keep`` of shape (sheets of the sample,)."""
        rows = keep[self.sheets]
        return Trials(self.sheets[rows], self.curves[rows], self.spread[rows], self.answered[rows])

    def regime(self, sample: Sample, group: Ints, speeds: Floats) -> Regime | None:
        """Return the scores; ``None`` without trials."""
        if not len(self.sheets):
            return None
        return calibration.calibrate(
            sample.take(self.sheets), group[self.sheets], speeds, self.curves, self.spread,
            self.answered,
        )  # fmt: skip


def joined(trials: Sequence[Trials]) -> Trials:
    """Return trials of several folds as one."""
    return Trials(*(np.concatenate(parts) for parts in zip(*trials, strict=True)))


def of_new_engines(fold: HeldOut, speeds: Floats) -> Trials:
    """Return the trials of engines that were never measured."""
    every = np.arange(len(fold.sheets))
    ahead = fold.ahead(fold.process, every, speeds)
    answered = tested_speeds.answered(fold.nearest)
    return Trials(fold.sheets, ahead.curves(), ahead.spread(), answered)


def of_measured_engines(fold: HeldOut, speeds: Floats, rng: np.random.Generator) -> Trials:
    """Return the trials of engines that were measured before parts were changed.

    Each sheet of an engine is predicted from one of its other sheets, and from a random number of
    them where there are several.
    """
    found = [_none(speeds)]
    for own in fold.engines():
        for at in own if len(own) > 1 else ():
            others = rng.permutation(own[own != at])
            counts = {1, int(rng.integers(1, len(others) + 1))}
            for count in sorted(counts):
                known, asked = others[:count], np.array([at])
                ahead = fold.ahead(
                    fold.process.conditioned(fold.readings.part(known)), asked, speeds
                )
                swept = fold.sweeps[known]
                reached = np.array([[swept[:, 0].min(), swept[:, 1].max()]])
                answered = tested_speeds.answered(fold.nearest[asked], reached)
                found.append(Trials(fold.sheets[asked], ahead.curves(), ahead.spread(), answered))
    return joined(found)


def _none(speeds: Floats) -> Trials:
    empty = np.zeros((0, len(speeds)))
    return Trials(np.zeros(0, dtype=np.int64), empty, empty, np.zeros((0, 2)))
