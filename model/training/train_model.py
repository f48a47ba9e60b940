"""Training: fit the curve, hold out shops, fit the expected error, calibrate the limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.learning import curve_model, effect_points, part_kernel
from pullbook.model.learning.sample import sample_of
from pullbook.model.limits import (
    calibration,
    difference_errors,
    expected_error,
    known_shops,
)
from pullbook.model.limits.calibration import NEW_FAMILY
from pullbook.model.limits.withheld_fields import withhold
from pullbook.model.range import novelty, tested_changes, tested_speeds, unseen_combinations
from pullbook.model.trained.trained_model import Model
from pullbook.model.training import held_effects, hold_out, new_families
from pullbook.model.training.train_own import train_own
from pullbook.pipeline.builds.engine_groups import MOST_SHOPS
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel.workers import Threads, one_thread
from pullbook.schemas.fields import CURATED_FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.learning.boosted_trees import Trees
    from pullbook.model.learning.curve_model import Blend, CurveModel
    from pullbook.model.learning.sample import Floats, Sample
    from pullbook.model.learning.settings import Settings
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.range.novelty import Reference
    from pullbook.model.training.hold_out import Track
    from pullbook.model.training.new_families import Groups, Unfamiliar
    from pullbook.model.training.start_from import Start
    from pullbook.pipeline.features.feature_table import Features
    from pullbook.pipeline.parallel.workers import Crew

THREADS = Threads()


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
    # Sheets of one engine complete one another where changes of it are learned from.
    engines = np.where(builds["engine"].notna(), labels[:, -1], -1)
    together = feature_table.make(builds, features.filling, engines)
    named = builds["family"].notna().to_numpy(dtype=bool)
    groups = new_families.Groups(shop, labels[:, 1], named)
    tables = _Tables(sparse, together)
    limits = _limits(sample, groups, tables, reference, settings, workers, track)
    curve = curve_model.fit_curve(sample, trees, speeds, settings, limits.blend)
    fitted = effect_points.start_at_readings(curve.curves(sample.table), speeds, sample)
    with one_thread():
        held = held_effects.Parts(sample, inputs.places(together), labels, speeds, limits.nearest)
        beyond = held_effects.learn(
            held, inputs, limits.curves, limits.unfamiliar, np.random.default_rng(settings.seed)
        )
    return Model(
        settings=settings,
        filling=features.filling,
        speeds=speeds,
        curve=curve,
        effects=beyond.process,
        readings=effect_points.readings_of(sample, inputs.places(sample.table), labels, fitted),
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


class _Tables(NamedTuple):
    """Further features of the sheets: some fields withheld, and engines' sheets completed."""

    sparse: list[pd.DataFrame]
    together: pd.DataFrame


@dataclass(frozen=True, slots=True)
class _Limits:
    blend: Blend
    spread: Trees
    curves: Floats
    nearest: Floats
    regimes: Mapping[str, Regime]
    pairs: Mapping[str, PairScores]
    offsets: Floats
    unfamiliar: Unfamiliar | None


def _limits(
    sample: Sample,
    groups: Groups,
    tables: _Tables,
    reference: Reference,
    settings: Settings,
    workers: Crew,
    track: Track,
) -> _Limits:
    """Hold out, choose the blend, fit the expected error and calibrate."""
    shop, family, _ = groups
    speeds = curve_model.grid_of(sample)
    fold = hold_out.folds(shop, settings.folds)
    others = (*tables.sparse, tables.together)
    held_out = hold_out.predict_held_out(sample, fold, speeds, settings, workers, track, *others)
    blend = curve_model.choose(sample, speeds, held_out[0])
    *blended, of_engines = [one.blended(blend) for one in held_out]
    given = (sample.table, *tables.sparse)
    near = [novelty.held_out_nearest(reference, one, tested_speeds.NEAREST) for one in given]
    trials = [
        expected_error.Trial(
            table=table,
            distance=novelty.mean_distance(distances),
            residual=hold_out.residuals(sample, curves, speeds),
        )
        for table, (distances, _), curves in zip(given, near, blended, strict=True)
    ]
    far = novelty.held_out_nearest(reference, sample.table, tested_speeds.NEAREST, family)
    trees = expected_error.fit_spread(sample, trials, settings)
    distances = trials[0].distance, novelty.mean_distance(far[0])
    width, wide = expected_error.held_out(
        sample, fold, trials, distances, speeds, settings, workers
    )
    sweeps = sample.sweeps()
    nearest, strange = (tested_speeds.sweeps_near(sweeps, *one) for one in (near[0], far))
    answered = tested_speeds.answered(nearest)
    pair = difference_errors.calibrate(
        sample, shop, speeds, blended[0], width, reference.places, settings.seed
    )

    # A known shop is predicted from its other engines; half as many folds leave enough of them.
    fold = hold_out.folds(sample.engines, max(2, settings.folds // 2))
    familiar = hold_out.curves(sample, fold, speeds, settings, blend, workers, track)
    residual = hold_out.residuals(sample, familiar, speeds)
    mean = known_shops.sheet_means(residual, sample.sheet, len(sample))
    spread = known_shops.variances(mean, shop, sample.engines)
    of_shop, of_sheet = known_shops.offsets(mean, shop, sample.engines, spread, int(shop.max()) + 1)
    familiar += of_sheet[:, None]
    regimes = {
        "new shop": calibration.calibrate(sample, shop, speeds, blended[0], width, answered),
        "known shop": calibration.calibrate(
            sample, sample.engines, speeds, familiar, width, answered
        ),
    }

    def fit(some: Sample) -> CurveModel:
        trees = curve_model.fit_trees(some, settings)
        return curve_model.fit_curve(some, trees, speeds, settings, blend)

    unfamiliar = new_families.predict_unfamiliar(
        sample, groups, fit, speeds, spread, np.random.default_rng(settings.seed),
        lambda work, numbers: track(workers.each(work, numbers)),
    )  # fmt: skip
    if unfamiliar is not None:
        few = unfamiliar.sheets
        for name, offset in (("new shop", np.zeros(len(few))), ("known shop", unfamiliar.offset)):
            regimes[f"{name}{NEW_FAMILY}"] = calibration.calibrate(
                sample.take(few), family[few], speeds, unfamiliar.curves + offset[:, None],
                wide[few], tested_speeds.answered(strange[few]),
            )  # fmt: skip
    return _Limits(blend, trees, of_engines, nearest, regimes, pair, of_shop, unfamiliar)
