"""Effects beyond a circle's curves: learned from sheets that were held out, and scored."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.model.learning import effect_points, effects, learn_effects
from pullbook.model.limits import calibration, effect_errors, pair_errors
from pullbook.model.limits.calibration import NEW_FAMILY
from pullbook.model.limits.effect_errors import HeldOut
from pullbook.model.limits.pair_kinds import CHANGED

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from pullbook.model.learning.effects import Process, Readings
    from pullbook.model.learning.part_kernel import Inputs
    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.training.new_families import Unfamiliar

#: The weight of a curve that effects start from as it is.
_AS_IT_IS = 1.0
#: About how many sheets the constants of effects are learned from.
_LEARNED_FROM = 130


class Effects(NamedTuple):
    """The effects, without data, and what could be scored of measured engines."""

    process: Process
    regimes: Mapping[str, Regime]
    pairs: Mapping[str, PairScores]


def learn(
    parts: Parts,
    inputs: Inputs,
    curves: Floats,
    unfamiliar: Unfamiliar | None,
    rng: np.random.Generator,
) -> Effects:
    """Learn the effects beyond curves predicted without the sheet's shop, and score them.

    The shops are parted into two halves, and each is scored with what is learned from the other.

    Parameters
    ----------
    parts
        What held-out sheets are made of.
    inputs
        Columns of the features, scaled.
    curves
        Curves of the sheets predicted without their shop, shape (sheets, speeds).
    unfamiliar
        Sheets predicted without their family too; ``None`` with too few families.
    rng
        Random generator.

    """
    sample, labels, speeds = parts.sample, parts.labels, parts.speeds
    readings, whole = parts.of(np.arange(len(sample)), curves)
    strange = None
    if unfamiliar is not None:
        strange = parts.of(unfamiliar.sheets, unfamiliar.curves)[1]
    comparer = pair_errors.Comparer(sample, speeds)
    order = rng.permutation(np.unique(labels[:, 0]))
    halves = [np.isin(labels[:, 0], order[at::2]) for at in range(2)]
    first = None
    trials, new_family, of_one, of_two, changes, new_changes = [], [], [], [], [], []
    for learned, scored in (halves, halves[::-1]):
        some = _whole_shops(labels, learned, rng)
        first = learn_effects.learn(inputs, readings.part(some), first, weight=_AS_IT_IS)
        process = effects.unconditioned(inputs, first)
        held = whole(process).part(scored & _again(labels[:, -1]))
        trials.append(effect_errors.of_measured_engines(held, speeds, rng))
        of_one.append(comparer.of_one_engine(held, rng))
        of_two.append(comparer.of_two_measured(held, rng))
        changes.append(comparer.of_changes(held, rng))
        if strange is not None:
            few = strange(process)
            few = few.part(scored[few.sheets])
            new_family.append(effect_errors.of_measured_engines(few, speeds, rng))
            family = labels[few.sheets, 1]
            new_changes.append(comparer.of_changes(few, rng, family))
    some = _whole_shops(labels, np.ones(len(labels), dtype=bool), rng)
    constants = learn_effects.learn(inputs, readings.part(some), first, weight=_AS_IT_IS)
    regimes: dict[str, Regime | None] = {
        "measured engine": effect_errors.joined(trials).regime(sample, labels[:, -1], speeds)
    }
    if new_family:
        regimes[f"measured engine{NEW_FAMILY}"] = calibration.of_enough(
            effect_errors.joined(new_family).regime(sample, labels[:, 1], speeds)
        )
    pairs = {
        "one engine": pair_errors.pair_scores(of_one, 1),
        "two measured": pair_errors.pair_scores(of_two, 2),
        CHANGED: pair_errors.pair_scores(changes, 1),
    }
    if new_changes:
        pairs[f"{CHANGED}{NEW_FAMILY}"] = pair_errors.pair_scores(new_changes, 1)
    return Effects(
        effects.unconditioned(inputs, constants),
        {name: one for name, one in regimes.items() if one is not None},
        {name: one for name, one in pairs.items() if one is not None},
    )


class Parts(NamedTuple):
    """What held-out sheets are made of."""

    sample: Sample
    places: Floats
    labels: Ints
    speeds: Floats
    nearest: Floats

    def of(self, sheets: Ints, curves: Floats) -> tuple[Readings, Callable[[Process], HeldOut]]:
        """Return the readings of some sheets beyond their curves, and the sheets as held out."""
        sample = self.sample.take(sheets)
        start = effect_points.start_at_readings(curves, self.speeds, sample)
        readings = effect_points.readings_of(
            sample, self.places[sheets], self.labels[sheets], start
        )
        parts = sheets, readings, curves, self.nearest[sheets], sample.sweeps()
        return readings, lambda process: HeldOut(process, *parts)


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
