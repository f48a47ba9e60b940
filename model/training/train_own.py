"""Training on the data of few shops: effects learned from all sheets, on top of a starting curve.

Limits come from leaving whole engines out and learning everything anew without them: the constants
of the effects, the weight of the starting curve and, where there is none, how missing fields are
filled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.model.learning import curve_model, effect_points, effects, learn_effects, part_kernel
from pullbook.model.learning.sample import sample_of
from pullbook.model.limits import effect_errors
from pullbook.model.range import novelty, tested_changes, unseen_combinations
from pullbook.model.trained.trained_model import Model
from pullbook.model.training import hold_out, own_limits
from pullbook.pipeline.features import feature_table
from pullbook.schemas.fields import CURATED_FIELDS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pullbook.model.learning.effects import Constants, Process, Readings
    from pullbook.model.learning.part_kernel import Inputs
    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.learning.settings import Settings
    from pullbook.model.limits.effect_errors import HeldOut
    from pullbook.model.training.hold_out import Track
    from pullbook.model.training.start_from import Start
    from pullbook.pipeline.features.feature_table import Features
    from pullbook.pipeline.parallel.workers import Crew

#: Most sheets that the constants are learned from, whole engines; all of them count as data.
_LEARNED_FROM = 90
#: Steps of the search for constants without a few engines, which begins at those with them.
_STEPS = 12
_NO_START = 0.0


@dataclass(frozen=True, slots=True)
class OwnData:
    """The sheets, with what effects need of them.

    ``weight`` is that of the starting curve where it is not to be learned.
    """

    builds: pd.DataFrame
    sample: Sample
    labels: Ints
    speeds: Floats
    start: Floats
    refill: bool
    weight: float | None
    seed: int

    def fitted(self) -> Process:
        """Return the effects with all sheets as data."""
        return self._learned(*self._readings(np.arange(len(self.sample))), None)

    def held_out(self, out: NDArray[np.bool_], first: Constants, nearest: Floats) -> HeldOut:
        """Return sheets with the effects that the others teach, everything learned anew.

        ``nearest`` are the sweeps of the sheets nearest to each that are not left out with it.
        """
        keep, gone = np.flatnonzero(~out), np.flatnonzero(out)
        inputs, readings = self._readings(keep)
        process = self._learned(inputs, readings.part(keep), first)
        parts = readings.part(gone), self.start[gone], nearest[gone], self.sample.sweeps()[gone]
        return effect_errors.HeldOut(process, gone, *parts)

    def error(self, process: Process, fold: Ints) -> float:
        """Return the mean squared error of engines left out, with constants that are not."""
        squares = np.zeros(len(fold))
        for number in range(int(fold.max()) + 1):
            keep, out = np.flatnonzero(fold != number), np.flatnonzero(fold == number)
            inputs, readings = self._readings(keep)
            known = effects.unconditioned(inputs, process.constants)
            asked = readings.part(out)
            off = asked.target - known.conditioned(readings.part(keep)).mean(asked)
            count = np.bincount(asked.sheet, minlength=len(out))
            squares[out] = np.bincount(asked.sheet, off**2, len(out)) / count
        engine = np.unique(self.sample.engines, return_inverse=True)[1]
        return float(np.mean(np.bincount(engine, squares) / np.bincount(engine)))

    def _learned(self, inputs: Inputs, readings: Readings, first: Constants | None) -> Process:
        some = readings.part(self._few_engines(readings))
        steps = {} if first is None else {"steps": _STEPS}
        constants = learn_effects.learn(inputs, some, first, weight=self.weight, **steps)
        return effects.unconditioned(inputs, constants).conditioned(readings)

    def _readings(self, keep: Ints) -> tuple[Inputs, Readings]:
        """Return inputs as fitted to some sheets, and the readings of all."""
        table = self.sample.table
        if self.refill and len(keep) < len(table):
            filling = feature_table.fit(self.builds.iloc[keep]).filling
            table = feature_table.make(self.builds, filling)
        inputs = part_kernel.inputs_of(table.iloc[keep])
        start = effect_points.start_at_readings(self.start, self.speeds, self.sample)
        places = inputs.places(table)
        return inputs, effect_points.readings_of(self.sample, places, self.labels, start)

    def _few_engines(self, readings: Readings) -> Ints:
        """Return the positions of sheets, whole engines, to learn constants from."""
        engine = readings.labels[:, -1]
        if len(engine) <= _LEARNED_FROM:
            return np.arange(len(engine))
        order = np.random.default_rng(self.seed).permutation(np.unique(engine))
        counts = np.bincount(engine)[order]
        chosen = order[: max(1, int(np.searchsorted(np.cumsum(counts), _LEARNED_FROM)))]
        return np.flatnonzero(np.isin(engine, chosen))


def train_own(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    features: Features,
    settings: Settings,
    start: Start | None,
    track: Track,
    workers: Crew,
) -> Model:
    """Fit effects to the sheets of few shops, and calibrate their limits by engine.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    features
        Features of the builds; with a start, filled as for it.
    settings
        Settings of the training run; with less than two folds there are no limits, and the start
        is taken whether it helps or not.
    start
        What to start from; ``None`` for nothing.
    track
        Wraps the loops over held-out parts to show progress.
    workers
        Threads, processes or a cluster that work on those parts.

    """
    sample = sample_of(builds, pulls, features.table)
    speeds = curve_model.grid_of(sample)
    labels = effect_points.labels_of(builds)
    curves, curve = np.zeros((len(sample), len(speeds))), None
    if start is not None:
        curve = start.curve
        curves = effect_points.start_at(curve.curves(sample.table), curve.speeds, speeds)
    given = (builds, sample, labels, speeds, curves)
    data = OwnData(*given, start is None, None if start is not None else _NO_START, settings.seed)
    process = data.fitted()
    fold = _folds(sample.engines, settings.folds)
    if start is not None and fold is not None:
        without = OwnData(*given, False, _NO_START, settings.seed)
        alone = without.fitted()
        if without.error(alone, fold) < data.error(process, fold):
            data, process, curve = without, alone, None
    before = np.zeros(0, dtype=np.int64) if start is None else start.learned
    reference = novelty.fit(builds, sample.table, _relevance(process), sample.engines)
    limits = own_limits.calibrate(data, process, reference, settings, before, workers, track)
    if start is not None and curve is not None:
        reference = reference.beside(start.reference.ranges, start.reference.seen)
    _, codes = pd.factorize(sample.shops)
    changes = tested_changes.fit(builds, sample.engines)
    return Model(
        settings=settings,
        filling=features.filling,
        speeds=speeds,
        curve=curve,
        effects=process,
        readings=process.readings,
        own_dyno=True,
        spread=None,
        reference=reference,
        start_reference=start.reference if start is not None and curve is not None else None,
        combinations=unseen_combinations.fit(builds, sample.engines),
        regimes=limits.regimes,
        pairs=limits.pairs,
        shop_codes=tuple(codes.tolist()),
        shop_offsets=np.zeros(len(codes)),
        sheet_ids=sample.sheet_ids,
        sweeps=sample.sweeps(),
        fields=builds[list(CURATED_FIELDS)],
        changes=changes if start is None else changes.joined(start.changes),
    )


def _relevance(process: Process) -> dict[str, float]:
    """Return the weight of each column in the distance: the spread of the effect of its group."""
    found: dict[str, float] = {}
    for at, names in enumerate(part_kernel.COLUMNS.values()):
        spread = float(np.sqrt(process.constants.variances[at] / len(names)))
        found |= dict.fromkeys(names, spread)
    return found


def _folds(groups: Ints, wanted: int) -> Ints | None:
    return None if min(wanted, len(np.unique(groups))) < 2 else hold_out.folds(groups, wanted)
