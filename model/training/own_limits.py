"""Limits of a model of few shops: whole engines left out, everything learned anew without them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.limits import calibration, effect_errors, pair_errors
from pullbook.model.limits.calibration import NEW_FAMILY
from pullbook.model.limits.conformal import FEWEST
from pullbook.model.limits.pair_kinds import CHANGED
from pullbook.model.range import novelty, tested_speeds
from pullbook.model.training import hold_out

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.learning.effects import Process
    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.learning.settings import Settings
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.limits.effect_errors import Trials
    from pullbook.model.limits.pair_errors import PairErrors
    from pullbook.model.range.novelty import Reference
    from pullbook.model.training.hold_out import Track
    from pullbook.model.training.train_own import OwnData
    from pullbook.pipeline.parallel.workers import Crew


class _Scored(NamedTuple):
    """What was predicted of a part that was left out."""

    new: Trials
    measured: Trials
    two_engines: PairErrors
    one_engine: PairErrors
    two_measured: PairErrors
    changes: PairErrors


class Limits(NamedTuple):
    """Scores by regime, and of differences by what two builds share."""

    regimes: Mapping[str, Regime]
    pairs: Mapping[str, PairScores]


def calibrate(
    data: OwnData,
    process: Process,
    reference: Reference,
    settings: Settings,
    learned_before: Ints,
    workers: Crew,
    track: Track,
) -> Limits:
    """Leave engines out, and shops and families where there are enough, and score them."""
    engine, sample, speeds = data.sample.engines, data.sample, data.speeds
    counts = ~np.isin(engine, engine[learned_before])
    engines = len(np.unique(engine[counts]))
    if engines < FEWEST or settings.folds < 2:
        return Limits({}, {})
    comparer = pair_errors.Comparer(sample, speeds)

    def score(of: tuple[int, Ints, Floats]) -> _Scored:
        number, fold, nearest = of
        held = data.held_out((fold == number), process.constants, nearest)
        held = held.part(counts[held.sheets])
        rng = np.random.default_rng([settings.seed, number])
        return _Scored(
            effect_errors.of_new_engines(held, speeds),
            effect_errors.of_measured_engines(held, speeds, rng),
            comparer.of_two_engines(held, rng),
            comparer.of_one_engine(held, rng),
            comparer.of_two_measured(held, rng),
            comparer.of_changes(held, rng),
        )

    def scored(groups: Ints, most: int) -> list[_Scored]:
        fold = hold_out.folds(groups, most)
        near = novelty.held_out_nearest(reference, sample.table, tested_speeds.NEAREST, groups)
        sweeps = tested_speeds.sweeps_near(sample.sweeps(), *near)
        numbers = [n for n in range(int(fold.max()) + 1) if ((fold == n) & counts).any()]
        parts = [(number, fold, sweeps) for number in numbers]
        return list(track(workers.each(score, parts)))

    single = scored(engine, settings.folds)
    # Two engines of a pair must both be left out, so at least two are in each part.
    paired = single if engines >= 2 * settings.folds else scored(engine, engines // 2)
    regimes: dict[str, Regime | None] = {
        "own dyno": effect_errors.joined([one.new for one in single]).regime(
            sample, engine, speeds
        ),
        "measured engine": effect_errors.joined([one.measured for one in single]).regime(
            sample, engine, speeds
        ),
    }
    pairs = {
        "one shop": pair_errors.pair_scores([one.two_engines for one in paired], 2),
        "one engine": pair_errors.pair_scores([one.one_engine for one in single], 1),
        "two measured": pair_errors.pair_scores([one.two_measured for one in paired], 2),
        CHANGED: pair_errors.pair_scores([one.changes for one in single], 1),
    }
    shop = pd.factorize(sample.shops)[0]
    if len(np.unique(shop[counts])) >= FEWEST:
        away = [one.new for one in scored(shop, len(np.unique(shop)))]
        regimes["new shop"] = effect_errors.joined(away).regime(sample, shop, speeds)
    family = data.labels[:, 1]
    named = data.builds["family"].notna().to_numpy(dtype=bool) & counts
    if len(np.unique(family[named])) >= FEWEST:
        strange = scored(family, settings.folds)
        for name, trials in (
            ("own dyno", [one.new for one in strange]),
            ("measured engine", [one.measured for one in strange]),
        ):
            regimes[f"{name}{NEW_FAMILY}"] = calibration.of_enough(
                effect_errors.joined(trials).of(named).regime(sample, family, speeds)
            )
    return Limits(
        {name: one for name, one in regimes.items() if one is not None},
        {name: one for name, one in pairs.items() if one is not None},
    )
