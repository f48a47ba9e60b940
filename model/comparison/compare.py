"""Comparing two builds: the difference of their curves, with its own limits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.comparison.crossovers import crossovers
from pullbook.model.limits.difference_errors import expected
from pullbook.model.prediction.as_measured import AsMeasured
from pullbook.model.prediction.prediction import BAND_POINTS, NARROW
from pullbook.schemas.answer import Between, rounded
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.limits.conformal import Scores
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.standing import Standing

#: How a build is compared: as its own pull measured it, or as predicted.
_COMPARED_AS = {True: "measured", False: "predicted"}


class CompareError(InputError):
    """The builds or the band cannot be compared; the message says why."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One build minus another, lb-ft at the reference condition.

    Attributes
    ----------
    names
        Names of the two builds.
    band
        Lowest and highest engine speed, rev/min.
    level
        Confidence level of the limits, between 0 and 1.
    one_shop
        Whether both are assumed to be tested by one shop.
    mean_a, mean_b
        Mean torque of each over the band.
    mean
        Their difference.
    chance
        Chance that the first has the higher mean over the band; ``None`` without calibration.
    rpm, curve, chances, supported
        Engine speeds; at each the difference, the chance that the first makes more (``None``
        without calibration), and whether both builds are supported there.
    crossovers
        Engine speeds where the curves cross, each with the range without a clear difference.
    standings
        Standing of each build.
    measured
        Whether each is compared as it was measured.
    """

    names: tuple[str, str]
    band: tuple[float, float]
    level: float
    one_shop: bool
    mean_a: float
    mean_b: float
    mean: Between
    chance: float | None
    rpm: Floats
    curve: list[Between]
    chances: list[float | None]
    supported: list[bool]
    crossovers: list[Between]
    standings: tuple[Standing, Standing]
    measured: tuple[bool, bool]

    @property
    def calibrated(self) -> bool:
        """Whether there are limits."""
        return self.mean.low is not None

    @property
    def told_apart(self) -> bool:
        """Whether there is a clear difference over the band."""
        low, high = self.mean.low, self.mean.high
        return low is not None and high is not None and not low <= 0 <= high

    def times(self, factor: float) -> Difference:
        """Return the difference with all torque multiplied by a factor."""
        means = {name: getattr(self, name) * factor for name in ("mean_a", "mean_b")}
        curve = [one.times(factor) for one in self.curve]
        return replace(self, **means, mean=self.mean.times(factor), curve=curve)

    def as_json(self) -> dict[str, Any]:
        """Return the difference as the object that ``compare --json`` prints."""
        return {
            "band": list(self.band),
            "level": self.level,
            "calibrated": self.calibrated,
            "same_shop": self.one_shop,
            "mean_torque": {
                "a": rounded(self.mean_a),
                "b": rounded(self.mean_b),
                **_limits(self.mean, "difference"),
            },
            "chance_a_above_b": rounded(self.chance, 4),
            "told_apart": self.told_apart,
            "curve": [
                {
                    "rpm": rounded(rpm),
                    **_limits(one, "difference"),
                    "chance_a_above_b": rounded(chance, 4),
                    "supported": supported,
                }
                for rpm, one, chance, supported in zip(
                    self.rpm.tolist(), self.curve, self.chances, self.supported, strict=True
                )
            ],
            "crossovers": [_limits(one, "rpm") for one in self.crossovers],
            "standing": {
                "a": self.standings[0].value,
                "b": self.standings[1].value,
            },
            "compared_as": {
                "a": _COMPARED_AS[self.measured[0]],
                "b": _COMPARED_AS[self.measured[1]],
            },
        }


def _limits(one: Between, name: str) -> dict[str, float | None]:
    return {name: rounded(one.value), "low": rounded(one.low), "high": rounded(one.high)}


def compare(
    both: Sequence[Prediction],
    names: tuple[str, str],
    pairs: Mapping[str, PairScores],
    band: tuple[float, float],
    level: float,
    rpm: Floats,
    one_shop: bool,
) -> Difference:
    """Return the difference of two builds.

    Parameters
    ----------
    both
        Predictions of the two.
    names
        Their names.
    pairs
        Scores of the model's pairs by what the two share; without those there are no limits.
    band
        Lowest and highest engine speed of the band, rev/min.
    level
        Confidence level of the limits, between 0 and 1.
    rpm
        Engine speeds of the curve, rev/min.
    one_shop
        Whether both are assumed to be tested by one shop.

    """
    scores = scores_for(both, pairs, one_shop=one_shop)
    inside = np.linspace(*band, BAND_POINTS)
    means = [float(np.mean(one.torque(inside))) for one in both]
    unsure = expected_of_mean(both, band, scores)
    difference = means[0] - means[1]
    single = None if scores is None else scores.point.factor(level)
    law = None if scores is None else law_of_mean(scores, band, level)
    whole = None if law is None else law.factor(level)
    values, widths = _apart(both, rpm, scores)
    return Difference(
        names=names,
        band=band,
        level=(None if law is None else law.kept(level)) or level,
        one_shop=one_shop,
        mean_a=means[0],
        mean_b=means[1],
        mean=_between(difference, unsure, whole),
        chance=None if law is None else _chance(difference / unsure, law),
        rpm=rpm,
        curve=[
            _between(v, w, single) for v, w in zip(values.tolist(), widths.tolist(), strict=True)
        ],
        chances=[
            None if scores is None else _chance(v / w, scores.point)
            for v, w in zip(values.tolist(), widths.tolist(), strict=True)
        ],
        supported=(both[0].supported(rpm) & both[1].supported(rpm)).tolist(),
        crossovers=crossovers(*band, lambda some: _apart(both, some, scores), single),
        standings=(both[0].standing, both[1].standing),
        measured=(isinstance(both[0], AsMeasured), isinstance(both[1], AsMeasured)),
    )


def scores_for(
    both: Sequence[Prediction], pairs: Mapping[str, PairScores], *, one_shop: bool
) -> PairScores | None:
    """Return the scores of pairs that share what two builds share; ``None`` without any."""
    a, b = both
    if a.measured is not None and b.measured is not None:
        same = (
            a.ahead is not None
            and b.ahead is not None
            and a.ahead.same_engine(a.row, b.ahead, b.row)
        )
        return pairs.get("one engine" if same else "two measured")
    if _only_one_measured(both):
        return pairs.get("two shops")
    return pairs.get("one shop" if one_shop else "two shops")


def law_of_mean(scores: PairScores, band: tuple[float, float], level: float) -> Scores:
    """Return the scores for the mean over a band; over a narrow one, those of one speed if wider.

    Limits and chance of a mean both come from these, so that they cannot contradict each other.
    """
    if band[1] - band[0] >= NARROW:
        return scores.mean
    single, whole = (one.factor(level) for one in (scores.point, scores.mean))
    narrower = single is None or whole is None or whole >= single
    return scores.mean if narrower else scores.point


def expected_of_mean(
    both: Sequence[Prediction], band: tuple[float, float], scores: PairScores | None
) -> float:
    """Return the expected error of the difference of two means over a band, lb-ft."""
    return float(np.mean(_expected(both, np.linspace(*band, BAND_POINTS), scores)))


def _expected(both: Sequence[Prediction], rpm: Floats, scores: PairScores | None) -> Floats:
    """Return the expected error of the difference, lb-ft, as for the scores of pairs."""
    first, second = (one.torque(rpm) * _width(one, both, rpm) for one in both)
    return expected(first, second, both[0].correlation(both[1], rpm, scores))


def _apart(
    both: Sequence[Prediction], rpm: Floats, scores: PairScores | None
) -> tuple[Floats, Floats]:
    """Return the difference at engine speeds and its expected error, lb-ft."""
    return both[0].torque(rpm) - both[1].torque(rpm), _expected(both, rpm, scores)


def _only_one_measured(both: Sequence[Prediction]) -> bool:
    """Return whether only one of two comes from effects, since only its engine was measured."""
    a, b = both
    return (a.ahead is None) is not (b.ahead is None)


def _width(one: Prediction, both: Sequence[Prediction], rpm: Floats) -> Floats:
    """Return the expected relative error of one of two builds.

    Where only one of their engines was measured, errors of such differences were never seen; so it
    is taken as no more certain than if it had not been measured, and on another dyno.
    """
    if one.without is not None and _only_one_measured(both):
        return one.without.width(rpm)
    return one.width(rpm)


def _between(value: float, width: float, factor: float | None) -> Between:
    if factor is None:
        return Between(value, None, None)
    return Between(value, value - factor * width, value + factor * width)


def _chance(score: float, scores: Scores) -> float:
    """Return the chance that a difference is above 0, from the errors of pairs.

    An error is as likely above as below; one more shop counts as beyond the largest error.
    """
    place = int(np.searchsorted(scores.values, abs(score), side="right"))
    beyond = 1.0 - (float(scores.mass[place - 1]) if place else 0.0)
    return 1.0 - beyond / 2 if score > 0 else beyond / 2
