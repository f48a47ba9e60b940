"""Limits of differences that come from effects: pairs of sheets whose engines were left out.

Two engines that were never measured; two changes of one engine, neither tested, where a third sheet
is what both start from; two engines each measured before; and two sheets of one engine of which
nothing was measured, so that they differ in the parts that were changed alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.model.learning import smooth_curves
from pullbook.model.learning.sample import charge
from pullbook.model.limits import conformal
from pullbook.model.limits.difference_errors import COMMON, MOST_STEPS, POINTS, PairScores

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.limits.effect_errors import HeldOut

#: Most pairs of sheets of one engine, or of two engines, that are compared.
_MOST_PAIRS = 12
#: Most of the pairs of engines of one fold.
_MOST_COUPLES = 30


class PairErrors(NamedTuple):
    """Errors of differences of two sheets, in expected errors, shape (pairs, speeds).

    ``cluster`` is the engine that counts for each pair.
    """

    point: Floats
    mean: Floats
    cluster: Ints


class Comparer:
    """Compares two held-out sheets: measured, predicted and expected difference."""

    def __init__(self, sample: Sample, speeds: Floats) -> None:
        """Take the sheets, and the grid of engine speeds."""
        self._sample, self._speeds = sample, speeds
        self._size = charge(sample.table)
        self._bounds = np.searchsorted(sample.sheet, np.arange(len(sample) + 1))

    def of_two_engines(self, fold: HeldOut, rng: np.random.Generator) -> PairErrors:
        """Return the errors of pairs of engines that were never measured."""
        engines = fold.engines()
        ahead = fold.ahead(fold.process, np.arange(len(fold.sheets)), self._speeds)
        curves, spread = ahead.curves(), ahead.spread()
        couples = [(a, b) for a in range(len(engines)) for b in range(a)]
        some = rng.permutation(len(couples))[:_MOST_COUPLES]
        rows = []
        for a, b in (couples[at] for at in some.tolist()):
            i, j = int(rng.choice(engines[a])), int(rng.choice(engines[b]))
            likeness = ahead.correlation(i, ahead, j)
            rows.append(self._error(fold, (i, j), curves[[i, j]], spread[[i, j]], likeness))
        return _collected(rows)

    def of_changes(
        self, fold: HeldOut, rng: np.random.Generator, group: Ints | None = None
    ) -> PairErrors:
        """Return the errors of pairs of sheets of one engine that nothing else tells of.

        They differ in the parts that were changed alone. ``group`` counts them by something wider
        than the engine, of shape (sheets of the fold,).
        """
        rows = []
        for own in fold.engines():
            pairs = [(i, j) for at, i in enumerate(own.tolist()) for j in own[:at].tolist()]
            for at in rng.permutation(len(pairs))[:_MOST_PAIRS].tolist():
                i, j = pairs[at]
                ahead = fold.ahead(fold.process, np.array([i, j]), self._speeds)
                likeness = ahead.correlation(0, ahead, 1)
                found = self._error(fold, (i, j), ahead.curves(), ahead.spread(), likeness)
                if found is not None and group is not None:
                    found = (*found[:2], int(group[i]))
                rows.append(found)
        return _collected(rows)

    def of_one_engine(self, fold: HeldOut, rng: np.random.Generator) -> PairErrors:
        """Return the errors of pairs of changes of one engine, that a third sheet tells of."""
        rows = []
        for own in fold.engines():
            for _ in range(min(_MOST_PAIRS, len(own) * (len(own) - 1)) if len(own) > 2 else 0):
                known, i, j = rng.permutation(own)[:3].tolist()
                process = fold.process.conditioned(fold.readings.part(np.array([known])))
                ahead = fold.ahead(process, np.array([i, j]), self._speeds)
                likeness = ahead.correlation(0, ahead, 1)
                rows.append(self._error(fold, (i, j), ahead.curves(), ahead.spread(), likeness))
        return _collected(rows)

    def of_two_measured(self, fold: HeldOut, rng: np.random.Generator) -> PairErrors:
        """Return the errors of pairs of engines that another sheet of each tells of."""
        several = [own for own in fold.engines() if len(own) > 1]
        couples = [(a, b) for a in range(len(several)) for b in range(a)]
        rows = []
        for a, b in (couples[at] for at in rng.permutation(len(couples))[:_MOST_COUPLES].tolist()):
            chosen = [rng.permutation(several[number])[:2].tolist() for number in (a, b)]
            found = []
            for known, asked in chosen:
                process = fold.process.conditioned(fold.readings.part(np.array([known])))
                ahead = fold.ahead(process, np.array([asked]), self._speeds)
                found.append((ahead.curves()[0], ahead.spread()[0]))
            curves, spread = (np.array(part) for part in zip(*found, strict=True))
            nothing = np.zeros(len(self._speeds))
            rows.append(self._error(fold, (chosen[0][1], chosen[1][1]), curves, spread, nothing))
        return _collected(rows)

    def _error(
        self, fold: HeldOut, pair: tuple[int, int], curves: Floats, spread: Floats, likeness: Floats
    ) -> tuple[Floats, float, int] | None:
        """Return the error of the difference of a pair in expected errors, and of its mean."""
        sheets = fold.sheets[list(pair)].tolist()
        pulls = [self._pull(sheet) for sheet in sheets]
        low, high = max(p[0][0] for p in pulls), min(p[0][-1] for p in pulls)
        if high - low < COMMON:
            return None
        rpm = np.linspace(low, high, POINTS)
        read = smooth_curves.reader(self._speeds, rpm)
        size = self._size[sheets][:, None]
        predicted = np.exp(curves @ read.T) * size
        measured = np.array([np.exp(np.interp(rpm, *pull)) for pull in pulls]) * size
        first, second = predicted * (spread @ read.T)
        expected = np.sqrt(first**2 + second**2 - 2 * (read @ likeness) * first * second)
        off = np.subtract(*measured) - np.subtract(*predicted)
        return (
            np.abs(off) / expected,
            abs(off.mean()) / expected.mean(),
            int(fold.readings.labels[pair[0], -1]),
        )

    def _pull(self, sheet: int) -> tuple[Floats, Floats]:
        rows = np.arange(self._bounds[sheet], self._bounds[sheet + 1])
        rows = rows[np.argsort(self._sample.rpm[rows], kind="stable")]
        return self._sample.rpm[rows], self._sample.target[rows]


def _collected(rows: Iterable[tuple[Floats, float, int] | None]) -> PairErrors:
    kept = [row for row in rows if row is not None]
    return PairErrors(
        np.array([row[0] for row in kept]).reshape(-1, POINTS),
        np.array([row[1] for row in kept]),
        np.array([row[2] for row in kept], dtype=np.int64),
    )


def pair_scores(found: Sequence[PairErrors], engines_of_a_pair: int) -> PairScores | None:
    """Return the scores of differences; ``None`` without pairs.

    Parameters
    ----------
    found
        Errors of the pairs of each fold.
    engines_of_a_pair
        How many engines are in a pair: only so many times fewer pairs are independent.

    """
    errors = PairErrors(*(np.concatenate(parts) for parts in zip(*found, strict=True)))
    if not len(errors.mean):
        return None
    pair = np.arange(len(errors.mean))
    cluster = np.unique(errors.cluster, return_inverse=True)[1]
    independent = max(1, (int(cluster.max()) + 1) // engines_of_a_pair)
    of = ((errors.point.ravel(), np.repeat(pair, POINTS)), (errors.mean, pair))
    point, mean = (
        conformal.thinned(
            conformal.counted_as(conformal.group_scores(score, sheet, cluster), independent),
            MOST_STEPS,
        )
        for score, sheet in of
    )
    return PairScores(point, mean, 0.0, 1.0)
