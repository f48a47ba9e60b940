"""Training: fit the curve, hold out shops, fit the expected error, calibrate the limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.model.learning import curve_model
from pullbook.model.learning.sample import sample_of
from pullbook.model.limits import calibration, difference_errors, expected_error, known_shops
from pullbook.model.limits.withheld_fields import withhold
from pullbook.model.range import novelty, unseen_combinations
from pullbook.model.training import hold_out
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel.workers import Threads
from pullbook.schemas.fields import CURATED_FIELDS

if TYPE_CHECKING:
    from pullbook.model.learning.boosted_trees import Trees
    from pullbook.model.learning.curve_model import Blend, CurveModel
    from pullbook.model.learning.sample import Floats, Sample
    from pullbook.model.learning.settings import Settings
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.difference_errors import Pairs
    from pullbook.model.range.novelty import Reference
    from pullbook.model.range.unseen_combinations import TestedCombinations
    from pullbook.model.training.hold_out import Track
    from pullbook.pipeline.features.feature_table import Features
    from pullbook.pipeline.features.fill_missing import Filling
    from pullbook.pipeline.parallel.workers import Crew

THREADS = Threads()


@dataclass(frozen=True, slots=True)
class Model:
    """A trained model: everything needed to predict a build.

    Attributes
    ----------
    settings
        Settings of the training run.
    filling
        How missing fields are filled.
    curve
        The curve model.
    spread
        The trees of the expected error; ``None`` if nothing could be held out.
    reference
        The tested data.
    combinations
        The combinations of parts that were tested.
    new_shop, known_shop
        The two regimes of the limits; ``None`` if nothing could be held out.
    pairs
        Scores of differences; ``None`` if no shop has two sheets, or nothing was held out.
    shop_codes
        Codes of the shops.
    shop_offsets
        Offset of each shop from the model, on the logarithmic scale.
    sheet_ids
        Names of the sheets, in the order of the reference.
    sweeps
        Lowest and highest rpm of each sheet, shape (sheets, 2).
    fields
        The builds as given, from which values for a missing field are taken.
    """

    settings: Settings
    filling: Filling
    curve: CurveModel
    spread: Trees | None
    reference: Reference
    combinations: TestedCombinations
    new_shop: Regime | None
    known_shop: Regime | None
    pairs: Pairs | None
    shop_codes: tuple[str, ...]
    shop_offsets: Floats
    sheet_ids: tuple[str, ...]
    sweeps: Floats
    fields: pd.DataFrame


def train(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    features: Features,
    settings: Settings,
    track: Track = iter,
    workers: Crew = THREADS,
) -> Model:
    """Fit a model to a curated data set and calibrate its limits by shop.

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

    """
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
    limits = _limits(sample, sparse, reference, speeds, settings, workers, track)
    counts = np.bincount(sample.sheet, minlength=len(sample))
    starts = np.r_[0, np.cumsum(counts)[:-1]]
    return Model(
        settings=settings,
        filling=features.filling,
        curve=curve_model.fit_curve(sample, trees, speeds, settings, limits.blend),
        spread=limits.spread,
        reference=reference,
        combinations=unseen_combinations.fit(builds, shop),
        new_shop=limits.new_shop,
        known_shop=limits.known_shop,
        pairs=limits.pairs,
        shop_codes=tuple(codes.tolist()),
        shop_offsets=limits.offsets,
        sheet_ids=sample.sheet_ids,
        sweeps=np.column_stack(
            [np.minimum.reduceat(sample.rpm, starts), np.maximum.reduceat(sample.rpm, starts)]
        ),
        fields=builds[list(CURATED_FIELDS)],
    )


@dataclass(frozen=True, slots=True)
class _Limits:
    blend: Blend
    spread: Trees | None
    new_shop: Regime | None
    known_shop: Regime | None
    pairs: Pairs | None
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
    """Hold out, choose the blend, fit the expected error and calibrate, if there are two shops."""
    shop = reference.shop
    if len(np.unique(shop)) < 2:
        return _Limits(curve_model.Blend(), None, None, None, None, np.zeros(1))
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
    return _Limits(blend, trees, new_shop, known_shop, pair, of_shop)
