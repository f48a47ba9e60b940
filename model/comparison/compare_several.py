"""Comparing several builds: the first with each of the others, and the chance that each is best."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtr, ndtri

from pullbook.model.comparison import compare as comparing
from pullbook.model.prediction.prediction import BAND_POINTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.comparison.difference import Difference
    from pullbook.model.comparison.measured_difference import Shares
    from pullbook.model.learning.sample import Floats
    from pullbook.model.limits.conformal import Scores
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.over_band import Band
    from pullbook.model.prediction.prediction import Prediction


_SEED = 1
_DRAWS = 20_000

#: Most builds of a choice that are drawn for, and how often; the others have no chance.
_CONTENDERS, _DRAWS_OF_MANY = 250, 4000

#: The level at which the normal distribution of the draws agrees with the limits.
_LEVEL = 0.8


@dataclass(frozen=True, slots=True)
class Comparison:
    """Several builds compared: the first with each of the others.

    Attributes
    ----------
    differences
        The first minus each of the others.
    chances
        Chance that each makes the most over the band, from the same errors of pairs as the
        differences, on one shop's dyno or on several as these; ``None`` without calibration.
    shares
        Of two builds, how much of their difference goes with each group of parts.
    before, same
        Of builds made comparable: the difference before that, and the groups or fields that all
        have from the first.
    """

    differences: list[Difference]
    chances: list[float] | None
    shares: Shares | None = None
    before: Difference | None = None
    same: tuple[str, ...] = ()

    @property
    def names(self) -> list[str]:
        """Names of the builds, in their order."""
        return [self.differences[0].names[0], *(one.names[1] for one in self.differences)]

    def times(self, factor: float) -> Comparison:
        """Return the comparison with all torque multiplied by a factor."""
        return replace(
            self,
            differences=[one.times(factor) for one in self.differences],
            shares=self.shares and self.shares.times(factor),
            before=self.before and self.before.times(factor),
        )

    def as_json(self) -> dict[str, Any]:
        """Return what ``compare --json`` prints; for two builds it is their difference."""
        if len(self.differences) == 1:
            return {
                **self.differences[0].as_json(),
                "shares": None if self.shares is None else self.shares.as_json(),
                "same": list(self.same),
                "before_same": None if self.before is None else self.before.as_json(),
            }
        first = self.differences[0]
        chances = None if self.chances is None else [round(one, 4) for one in self.chances]
        return {
            "band": list(first.over),
            "asked_band": list(first.band),
            "level": first.level,
            "builds": self.names,
            "chance_best": chances,
            "against_first": [one.as_json() for one in self.differences],
        }


def compare(
    names: Sequence[str],
    found: Sequence[Prediction],
    pairs: Mapping[str, PairScores],
    band: Band,
    level: float,
    rpm: Floats,
    one_shop: bool,
) -> Comparison:
    """Return the comparison of the first of several builds with each of the others.

    Parameters
    ----------
    names, found
        Names of the builds, and their predictions.
    pairs, band, level, rpm, one_shop
        As for `pullbook.model.comparison.compare.compare`.

    """
    differences = [
        comparing.compare((found[0], one), (names[0], name), pairs, band, level, rpm, one_shop)
        for name, one in zip(names[1:], found[1:], strict=True)
    ]
    every = {
        id(comparing.scores_for(two, pairs, one_shop=one_shop)) for two in combinations(found, 2)
    }
    scores = comparing.scores_for(found[:2], pairs, one_shop=one_shop) if len(every) == 1 else None
    chances = None if scores is None else _chances_of_few(found, scores, band.over, level)
    if chances is not None and len(found) == 2 and (first := differences[0].chance) is not None:
        chances = [first, 1 - first]
    return Comparison(differences, chances)


def _chances_of_few(
    found: Sequence[Prediction], scores: PairScores, band: tuple[float, float], level: float
) -> list[float] | None:
    """Return the chance that each of a few builds makes the most; they sum to one.

    As `chances_of_best`, but the difference of each pair follows the very distribution of its own
    chance, so that no build is likelier to be the best of all than to beat any one of the others.
    ``None`` if there are too few shops.
    """
    law = comparing.law_of_mean(scores, band, level)
    if law.factor(_LEVEL) is None:
        return None
    count = len(found)
    value, expected = means(found, band)
    correlation = correlations(found, band, scores)
    root = expected[:, None] * np.linalg.cholesky(correlation + 1e-9 * np.eye(count))
    drawn = np.random.default_rng(_SEED).normal(size=(_DRAWS, count)) @ root.T
    least = np.full((_DRAWS, count), np.inf)
    for a, b in combinations(range(count), 2):
        apart = drawn[:, a] - drawn[:, b]
        share = np.abs(2 * ndtr(apart / np.hypot.reduce(root[a] - root[b])) - 1)
        size = np.append(law.values, np.inf)[np.searchsorted(law.mass, share)]
        size *= comparing.expected_of_mean((found[a], found[b]), band, scores)
        ahead = value[a] - value[b] + np.sign(apart) * size
        least[:, a] = np.minimum(least[:, a], ahead)
        least[:, b] = np.minimum(least[:, b], -ahead)
    # In a few draws each is beaten by another, for pairs are drawn by their own law; none counts.
    best = (least > 0).sum(axis=0)
    return (best / best.sum()).tolist()  # type: ignore[no-any-return]


def means(builds: Sequence[Prediction], band: tuple[float, float]) -> tuple[Floats, Floats]:
    """Return mean torque over a band and its expected error, lb-ft, shape (builds,) each."""
    rpm = np.linspace(*band, BAND_POINTS)
    torque = np.array([one.torque(rpm) for one in builds])
    width = np.array(
        [one.width(rpm) if one.parts is None else one.parts.width(rpm) * one.widened
         for one in builds]
    )  # fmt: skip
    return torque.mean(axis=1), (torque * width).mean(axis=1)


def chances_of_best(
    value: Floats,
    expected: Floats,
    found: Sequence[Prediction],
    band: tuple[float, float],
    scores: PairScores,
    law: Scores,
    seed: int,
) -> Floats | None:
    """Return the chance that each build has the highest value; they sum to one.

    Errors are drawn from a normal distribution. They are correlated as those of similar pairs in
    the data, and their differences have the same spread.

    Parameters
    ----------
    value, expected
        Predicted value and expected error of each, in one unit, shape (builds,).
    found, band
        Their predictions, and the engine speeds that the value is of.
    scores
        The model's scores of pairs.
    law
        Those of them for this value: at one speed, or of a mean.
    seed
        Seed of the draws.

    Returns
    -------
    Shape (builds,); ``None`` if there are too few shops.

    """
    factor = law.factor(_LEVEL)
    if factor is None:
        return None
    chance = np.zeros(len(value))
    top = np.argsort(-(value + 3 * expected), kind="stable")[:_CONTENDERS]
    correlation = correlations([found[at] for at in top.tolist()], band, scores)
    scale = factor / float(ndtri((1 + _LEVEL) / 2)) * expected[top]
    root = np.linalg.cholesky(correlation + 1e-9 * np.eye(len(top)))
    drawn = np.random.default_rng(seed).normal(size=(_DRAWS_OF_MANY, len(top))) @ root.T
    first = np.argmax(value[top] + drawn * scale, axis=1)
    chance[top] = np.bincount(first, minlength=len(top)) / _DRAWS_OF_MANY
    return chance


def correlations(
    found: Sequence[Prediction], band: tuple[float, float], scores: PairScores
) -> Floats:
    """Return the correlations of the errors of builds over a band, shape (builds, builds)."""
    parts = [one.parts for one in found if one.parts is not None]
    if len(parts) == len(found):
        return parts[0].correlations(parts, sum(band) / 2)
    first = found[0].ahead
    if first is not None:
        if not all(one.ahead is first for one in found):
            return np.eye(len(found))
        return first.correlations(np.array([one.row for one in found]), sum(band) / 2)
    places = np.array([one.place for one in found])
    squares = np.square(places).sum(axis=1)
    distance = squares[:, None] + squares[None] - 2 * places @ places.T
    correlation = scores.correlation(np.sqrt(np.maximum(distance, 0.0)))
    np.fill_diagonal(correlation, 1.0)
    return correlation
