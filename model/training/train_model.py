"""Training: fit the curve, hold out shops, fit the expected error, calibrate the limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.learning import curve_model, effect_points, effects, learn_effects, part_kernel
from pullbook.model.learning.sample import sample_of
from pullbook.model.limits import (
    calibration,
    difference_errors,
    effect_errors,
    expected_error,
    known_shops,
)
from pullbook.model.limits.withheld_fields import withhold
from pullbook.model.range import novelty, tested_changes, unseen_combinations
from pullbook.model.trained.trained_model import Model
from pullbook.model.training import hold_out
from pullbook.model.training.train_own import MOST_SHOPS, train_own
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel.workers import Threads, one_thread
from pullbook.schemas.fields import CURATED_FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from pullbook.model.learning.boosted_trees import Trees
    from pullbook.model.learning.curve_model import Blend
    from pullbook.model.learning.effects import Process
    from pullbook.model.learning.part_kernel import Inputs
    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.learning.settings import Settings
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.range.novelty import Reference
    from pullbook.model.training.hold_out import Track
    from pullbook.model.training.start_from import Start
    from pullbook.pipeline.features.feature_table import Features
    from pullbook.pipeline.parallel.workers import Crew

THREADS = Threads()
#: The weight of a curve that effects start from as it is.
_AS_IT_IS = 1.0
#: About how many sheets the constants of effects are learned from.
_LEARNED_FROM = 130


def train(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    features: Features,
    settings: Settings,
    track: Track = iter,
    workers: Crew = THREADS,
    start: Start | None = None,
) -> Model:
    """Fit a model to a curated data set and calibrate its limits.

    The data of a circle is learned from as a whole, and limits are calibrated by shop; that of few
    shops is learned as effects on top of a start, and limits are calibrated by engine.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    features
        Features of the builds.
    settings
        Settings of the training run.
    track
        Wraps the loops over held-out parts to show progress.
    workers
        Threads, processes or a cluster that work on those parts.
    start
        What the data of few shops starts from; ``None`` for nothing.

    """
    if builds["shop"].nunique() <= MOST_SHOPS:
        with one_thread():
            return train_own(builds, pulls, features, settings, start, track, workers)
    sample = sample_of(builds, pulls, features.table)
    # Numbered in order of appearance, since codes change with the contributor's key.
    shop, codes = pd.factorize(sample.shops)
    speeds = curve_model.grid_of(sample)
    trees = curve_model.fit_trees(sample, settings)
    # The square root keeps one strong column from dominating the distance.
    gain = {name: share**0.5 for name, share in curve_model.gain_of(trees, sample).items()}
    reference = novelty.fit(builds, sample.table, gain, shop)
    rng = np.random.default_rng(settings.seed)
    sparse = [
        feature_table.make(withhold(builds, rng), features.filling)
        for _ in range(settings.withheld)
    ]
    inputs = part_kernel.inputs_of(sample.table)
    labels = effect_points.labels_of(builds)
    places = inputs.places(sample.table)
    limits = _limits(sample, sparse, reference, speeds, settings, workers, track)
    curve = curve_model.fit_curve(sample, trees, speeds, settings, limits.blend)
    fitted = effect_points.start_at_readings(curve.curves(sample.table), speeds, sample)
    with one_thread():
        beyond = _effects(sample, inputs, places, labels, speeds, limits.curves, settings)
    return Model(
        settings=settings,
        filling=features.filling,
        speeds=speeds,
        curve=curve,
        effects=beyond.process,
        readings=effect_points.readings_of(sample, places, labels, fitted),
        own_dyno=False,
        spread=limits.spread,
        reference=reference,
        start_reference=None,
        combinations=unseen_combinations.fit(builds, shop),
        regimes={**limits.regimes, **beyond.regimes},
        pairs={**limits.pairs, **beyond.pairs},
        shop_codes=tuple(codes.tolist()),
        shop_offsets=limits.offsets,
        sheet_ids=sample.sheet_ids,
        sweeps=sample.sweeps(),
        fields=builds[list(CURATED_FIELDS)],
        changes=tested_changes.fit(builds, sample.engines),
    )


@dataclass(frozen=True, slots=True)
class _Limits:
    blend: Blend
    spread: Trees
    curves: Floats
    regimes: Mapping[str, Regime]
    pairs: Mapping[str, PairScores]
    offsets: Floats


def _limits(
    sample: Sample,
    sparse: list[pd.DataFrame],
    reference: Reference,
    speeds: Floats,
    settings: Settings,
    workers: Crew,
    track: Track,
) -> _Limits:
    """Hold out, choose the blend, fit the expected error and calibrate."""
    shop = reference.shop
    fold = hold_out.folds(shop, settings.folds)
    held_out = hold_out.predict_held_out(sample, fold, speeds, settings, workers, track, *sparse)
    blend = curve_model.choose(sample, speeds, held_out[0])
    blended = [one.blended(blend) for one in held_out]
    trials = [
        expected_error.Trial(
            table=table,
            distance=novelty.held_out_distances(reference, table),
            residual=hold_out.residuals(sample, curves, speeds),
        )
        for table, curves in zip((sample.table, *sparse), blended, strict=True)
    ]
    trees = expected_error.fit_spread(sample, trials, settings)
    width = expected_error.held_out(sample, fold, trials, speeds, settings, workers)
    nothing = np.zeros(len(sample))
    new_shop = calibration.calibrate(sample, shop, speeds, blended[0], width, nothing)

    pair = difference_errors.calibrate(
        sample, shop, speeds, blended[0], width, reference.places, settings.seed
    )

    # A known shop is predicted from its other sheets; half as many folds leave enough of them.
    fold = hold_out.folds(sample.engines, max(2, settings.folds // 2))
    familiar = hold_out.curves(sample, fold, speeds, settings, blend, workers, track)
    residual = hold_out.residuals(sample, familiar, speeds)
    mean = known_shops.sheet_means(residual, sample.sheet, len(sample))
    of_shop, of_sheet = known_shops.offsets(mean, shop)
    known_shop = calibration.calibrate(sample, shop, speeds, familiar, width, of_sheet)
    regimes = {"new shop": new_shop, "known shop": known_shop}
    return _Limits(blend, trees, blended[0], regimes, pair, of_shop)


class _Effects(NamedTuple):
    process: Process
    regimes: Mapping[str, Regime]
    pairs: Mapping[str, PairScores]


def _effects(
    sample: Sample,
    inputs: Inputs,
    places: Floats,
    labels: Ints,
    speeds: Floats,
    curves: Floats,
    settings: Settings,
) -> _Effects:
    """Learn the effects beyond curves predicted without the sheet's shop, and score them.

    The shops are parted into two halves, and each is scored with what is learned from the other.
    """
    start = effect_points.start_at_readings(curves, speeds, sample)
    readings = effect_points.readings_of(sample, places, labels, start)
    comparer = effect_errors.Comparer(sample, speeds)
    rng = np.random.default_rng(settings.seed)
    order = rng.permutation(np.unique(labels[:, 0]))
    halves = [np.isin(labels[:, 0], order[at::2]) for at in range(2)]
    first = None
    trials, of_one, of_two = [], [], []
    for learned, scored in (halves, halves[::-1]):
        some = _whole_shops(labels, learned, rng)
        first = learn_effects.learn(inputs, readings.part(some), first, weight=_AS_IT_IS)
        out = np.flatnonzero(scored & _again(labels[:, -1]))
        process = effects.unconditioned(inputs, first)
        held = effect_errors.HeldOut(process, out, readings.part(out), curves[out])
        trials.append(effect_errors.of_measured_engines(held, speeds, rng))
        of_one.append(comparer.of_one_engine(held, rng))
        of_two.append(comparer.of_two_measured(held, rng))
    some = _whole_shops(labels, np.ones(len(labels), dtype=bool), rng)
    constants = learn_effects.learn(inputs, readings.part(some), first, weight=_AS_IT_IS)
    regime = effect_errors.joined(trials).regime(sample, labels[:, -1], speeds)
    pairs = {
        "one engine": effect_errors.pair_scores(of_one, 1),
        "two measured": effect_errors.pair_scores(of_two, 2),
    }
    return _Effects(
        effects.unconditioned(inputs, constants),
        {} if regime is None else {"measured engine": regime},
        {name: one for name, one in pairs.items() if one is not None},
    )


def _again(engine: Ints) -> NDArray[np.bool_]:
    """Return which sheets are of an engine that was tested more than once."""
    again: NDArray[np.bool_] = (np.bincount(engine) > 1)[engine]
    return again


def _whole_shops(labels: Ints, of: NDArray[np.bool_], rng: np.random.Generator) -> Ints:
    """Return the positions of sheets to learn constants from, whole shops of those in ``of``."""
    order = rng.permutation(np.unique(labels[of, 0]))
    counts = np.bincount(labels[:, 0])[order]
    most = max(1, int(np.searchsorted(np.cumsum(counts), _LEARNED_FROM)))
    return np.flatnonzero(np.isin(labels[:, 0], order[:most]))
