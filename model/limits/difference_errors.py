"""Errors of the difference between two builds, from pairs of held-out sheets.

Two builds of one shop are measured on one dyno, and similar builds have similar errors, so their
difference is more certain than either of them; builds of two shops are measured on two dynos.
Subtracting two error bands would be too wide for the first and too narrow for the second. So the
difference is calibrated itself, on pairs of sheets of one shop and on pairs across shops; every
shop, or couple of shops, has the same weight.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullbook.model.learning import smooth_curves
from pullbook.model.learning.sample import charge
from pullbook.model.limits import conformal
from pullbook.model.limits.calibration import NEW_FAMILY
from pullbook.model.limits.conformal import Scores
from pullbook.model.limits.pair_kinds import (
    CHANGED,
    ONE_ENGINE,
    ONE_SHOP,
    TWO_MEASURED,
    TWO_SHOPS,
)
from pullbook.pipeline.features.engineered_features import CATEGORIES
from pullbook.pipeline.features.feature_table import GIVEN
from pullbook.pipeline.features.fill_missing import FILLED

if TYPE_CHECKING:
    import pandas as pd

    from pullbook.model.learning.sample import Floats, Ints, Sample

#: Engine speeds at which a pair is compared, spread over the sweep that both have in common.
POINTS = 9
#: Most pairs of a shop, and of two shops, that are used.
_PER_SHOP, _PER_COUPLE = 60, 40
_ROUNDS = 6
MOST_STEPS = 4000
#: The sweeps of a pair must overlap by this much, rev/min.
COMMON = 800.0
#: Values to try for likeness, and for reach as a quantile of the distances of pairs.
_LIKENESSES = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
_REACHES = (0.1, 0.3, 0.6, 0.95)


@dataclass(frozen=True, slots=True)
class PairScores:
    """Scores of pairs: errors of a difference as multiples of the expected error.

    Attributes
    ----------
    point
        At a single engine speed.
    mean
        Of the mean over a band.
    likeness, reach
        Correlation of the errors of two nearly equal builds, and the distance over which it falls
        to 1/e of that.
    """

    point: Scores
    mean: Scores
    likeness: float
    reach: float

    def correlation(self, distance: Floats | float) -> Floats:
        """Return the correlation of the errors of builds at a distance."""
        correlation: Floats = self.likeness * np.exp(-np.asarray(distance) / self.reach)
        return correlation


PAIR_PARTS = ("point", "mean")
#: Kinds of pairs that have scores of their own; of changed parts also for a family that is new.
SHARED = (ONE_SHOP, TWO_SHOPS, ONE_ENGINE, TWO_MEASURED, CHANGED, f"{CHANGED}{NEW_FAMILY}")


def expected(first: Floats, second: Floats, correlation: Floats | float) -> Floats:
    """Return the expected error of a difference from those of the two and their correlation."""
    result: Floats = np.sqrt(first**2 + second**2 - 2 * correlation * first * second)
    return result


def _expected(
    first: Floats, second: Floats, distance: Floats | float, likeness: float, reach: float
) -> Floats:
    return expected(first, second, likeness * np.exp(-np.asarray(distance) / reach))


def calibrate(
    sample: Sample,
    shop: Ints,
    speeds: Floats,
    curves: Floats,
    spread: Floats,
    places: Floats,
    seed: int,
) -> dict[str, PairScores]:
    """Return the scores of pairs of held-out sheets by what they share; none if no shop has two.

    Parameters
    ----------
    sample
        The sheets.
    shop
        Number of the shop of each sheet.
    speeds
        The grid of engine speeds.
    curves, spread
        Curves and expected errors without the sheet's shop, shape (sheets, points).
    places
        The sheets as points, by `novelty.Reference`.
    seed
        Seed of the choice of pairs.

    """
    rng = np.random.default_rng(seed)
    sheets = _Sheets(sample, speeds, curves, spread, places)
    of_one = within(shop, rng)
    one_shop = sheets.errors(of_one[~same_engine(sample.table, of_one)])
    if not len(one_shop.pairs):
        return {}
    of_two, couple = across(shop, rng)
    two_shops = sheets.errors(of_two)
    shops = len(np.unique(shop))
    cluster = shop[one_shop.pairs[:, 0]]
    return {
        ONE_SHOP: _scores(one_shop, cluster, len(np.unique(cluster))),
        # In a round every shop is in one couple, so only half as many couples are independent.
        TWO_SHOPS: _scores(two_shops, couple[two_shops.kept], max(1, shops // 2)),
    }


def same_engine(table: pd.DataFrame, pairs: Ints) -> NDArray[np.bool_]:
    """Return which pairs may be two pulls of one engine: equal in every field that both give.

    Such pairs say nothing about two engines, which differ even when they are built alike.
    """
    same = np.ones(len(pairs), dtype=bool)
    fields = ("displacement", "bore_stroke", *FILLED, *CATEGORIES)
    for name in [name for name in fields if name in table]:
        column = table[name].to_numpy(dtype=float)
        given = np.isfinite(column)
        if f"{GIVEN}{name}" in table:
            given &= table[f"{GIVEN}{name}"].to_numpy(dtype=bool)
        a, b = pairs.T
        same &= ~(given[a] & given[b]) | np.isclose(column[a], column[b], rtol=1e-6)
    return same


def within(shop: Ints, rng: np.random.Generator) -> Ints:
    """Return pairs of sheets of one shop, shape (pairs, 2)."""
    found = []
    for number in range(int(shop.max()) + 1):
        own = np.flatnonzero(shop == number)
        first, second = np.triu_indices(len(own), 1)
        if len(first) > _PER_SHOP:
            some = rng.choice(len(first), _PER_SHOP, replace=False)
            first, second = first[some], second[some]
        found.append(np.column_stack([own[first], own[second]]))
    return np.concatenate(found)


def across(shop: Ints, rng: np.random.Generator) -> tuple[Ints, Ints]:
    """Return pairs of sheets of two shops, shape (pairs, 2), and the couple of shops of each."""
    members = [np.flatnonzero(shop == number) for number in range(int(shop.max()) + 1)]
    found, couples = [], []
    for round_ in range(_ROUNDS):
        order = rng.permutation(len(members))
        for at in range(0, len(order) - 1, 2):
            a, b = members[order[at]], members[order[at + 1]]
            count = min(_PER_COUPLE, len(a) * len(b))
            found.append(np.column_stack([rng.choice(a, count), rng.choice(b, count)]))
            couples += [round_ * len(members) + at] * count
    return np.concatenate(found), np.unique(couples, return_inverse=True)[1]


@dataclass(frozen=True, slots=True)
class _Errors:
    """Errors and expected errors of pairs, lb-ft, shape (pairs, points), and their distances.

    ``kept`` are the positions of the pairs among those that were given.
    """

    pairs: Ints
    kept: Ints
    difference: Floats
    first: Floats
    second: Floats
    distance: Floats


def _scores(errors: _Errors, cluster: Ints, independent: int) -> PairScores:
    """Return scores in which every cluster, and every pair of a cluster, has the same weight."""
    likeness, reach = _likeness(errors)
    expected = _expected(errors.first, errors.second, errors.distance[:, None], likeness, reach)
    point = np.abs(errors.difference) / expected
    mean = np.abs(errors.difference.mean(axis=1)) / expected.mean(axis=1)
    pair = np.arange(len(cluster))
    scores = [
        conformal.group_scores(score, of, cluster)
        for score, of in ((point.ravel(), np.repeat(pair, point.shape[1])), (mean, pair))
    ]
    point_, mean_ = (
        conformal.thinned(conformal.counted_as(one, independent), MOST_STEPS) for one in scores
    )
    return PairScores(point_, mean_, likeness, reach)


def _likeness(errors: _Errors) -> tuple[float, float]:
    """Return the likeness and reach of highest likelihood, for normal mean differences."""
    difference = errors.difference.mean(axis=1)
    first, second = errors.first.mean(axis=1), errors.second.mean(axis=1)
    tried = []
    for reach in np.quantile(errors.distance, _REACHES) + 1e-9:
        for likeness in _LIKENESSES:
            square = _expected(first, second, errors.distance, likeness, float(reach)) ** 2
            scale = np.mean(difference**2 / square)
            tried.append((float(np.mean(np.log(square)) + np.log(scale)), likeness, float(reach)))
    return min(tried)[1:]


class _Sheets:
    """Measured, predicted and expected torque of sheets, ready to be paired."""

    def __init__(
        self, sample: Sample, speeds: Floats, curves: Floats, spread: Floats, places: Floats
    ) -> None:
        self._speeds, self._curves, self._spread = speeds, curves, spread
        self._size, self._places = charge(sample.table), places
        bounds = np.searchsorted(sample.sheet, np.arange(len(sample) + 1))
        self._pulls = []
        for start, stop in pairwise(bounds.tolist()):
            order = start + np.argsort(sample.rpm[start:stop], kind="stable")
            self._pulls.append((sample.rpm[order], sample.target[order]))

    def errors(self, pairs: Ints) -> _Errors:
        """Return the errors of pairs whose sweeps overlap enough."""
        difference, first, second, kept = [], [], [], []
        for number, pair in enumerate(pairs.tolist()):
            ranges = [self._pulls[one][0][[0, -1]] for one in pair]
            low, high = max(r[0] for r in ranges), min(r[1] for r in ranges)
            if high - low < COMMON:
                continue
            rpm = np.linspace(low, high, POINTS)
            (error_a, expected_a), (error_b, expected_b) = (self._error(one, rpm) for one in pair)
            difference.append(error_a - error_b)
            first.append(expected_a)
            second.append(expected_b)
            kept.append(number)
        whole = np.array(kept, dtype=np.int64)
        some = pairs[whole].reshape(-1, 2)
        distance = np.linalg.norm(self._places[some[:, 0]] - self._places[some[:, 1]], axis=1)
        shape = (-1, POINTS)
        return _Errors(
            some, whole, np.array(difference).reshape(shape), np.array(first).reshape(shape),
            np.array(second).reshape(shape), distance,
        )  # fmt: skip

    def _error(self, sheet: int, rpm: Floats) -> tuple[Floats, Floats]:
        """Return error and expected error of a sheet at engine speeds, lb-ft."""
        same = np.zeros(len(rpm), dtype=np.int64)
        curve = smooth_curves.at(self._curves[sheet : sheet + 1], self._speeds, same, rpm)
        expected = smooth_curves.at(self._spread[sheet : sheet + 1], self._speeds, same, rpm)
        predicted = np.exp(curve) * self._size[sheet]
        measured = np.exp(np.interp(rpm, *self._pulls[sheet])) * self._size[sheet]
        return measured - predicted, predicted * expected
