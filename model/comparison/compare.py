"""Comparing two builds: the difference of their curves, with its own limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.comparison.crossovers import crossovers
from pullbook.model.comparison.difference import Difference
from pullbook.model.limits.calibration import NEW_FAMILY
from pullbook.model.limits.difference_errors import expected
from pullbook.model.limits.pair_kinds import CHANGED, ONE_ENGINE, ONE_SHOP, TWO_MEASURED, TWO_SHOPS
from pullbook.model.prediction.as_measured import AsMeasured
from pullbook.model.prediction.over_band import tested_part
from pullbook.model.prediction.prediction import BAND_POINTS, NARROW
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.answer import Between
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.limits.conformal import Scores
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.over_band import Band
    from pullbook.model.prediction.prediction import Prediction


#: The level at which it is judged which scores are the more cautious.
_CAUTIOUS = 0.8


class CompareError(InputError):
    """The builds or the band cannot be compared; the message says why."""


def compare(
    both: Sequence[Prediction],
    names: tuple[str, str],
    pairs: Mapping[str, PairScores],
    band: Band,
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
        The band, and the part of it that means are over.
    level
        Confidence level of the limits, between 0 and 1.
    rpm
        Engine speeds of the curve, rev/min.
    one_shop
        Whether both are assumed to be tested by one shop.

    """
    shared, scores = shared_by(both, one_shop=one_shop), scores_for(both, pairs, one_shop=one_shop)
    over = band.over
    inside = np.linspace(*over, BAND_POINTS)
    turns = inside / TORQUE_POWER_CONSTANT
    errors = _expected(both, inside, scores)
    means = [float(np.mean(one.torque(inside))) for one in both]
    powers = [float(np.mean(one.torque(inside) * turns)) for one in both]
    unsure = float(np.mean(errors))
    difference = means[0] - means[1]
    single = None if scores is None else scores.point.factor(level)
    law = None if scores is None else law_of_mean(scores, over, level)
    whole = None if law is None else law.factor(level)
    values, widths = _apart(both, rpm, scores)
    return Difference(
        names=names,
        band=band.asked,
        level=(None if law is None else law.kept(level)) or level,
        one_shop=one_shop,
        shared=shared,
        mean_a=means[0],
        mean_b=means[1],
        mean=_between(difference, unsure, whole),
        power_a=powers[0],
        power_b=powers[1],
        power=_between(powers[0] - powers[1], float(np.mean(errors * turns)), whole),
        over=over,
        tested=tested_part(both, band.asked),
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
        crossovers=crossovers(*over, lambda some: _apart(both, some, scores), single),
        standings=(both[0].standing, both[1].standing),
        measured=(isinstance(both[0], AsMeasured), isinstance(both[1], AsMeasured)),
    )


def scores_for(
    both: Sequence[Prediction], pairs: Mapping[str, PairScores], *, one_shop: bool
) -> PairScores | None:
    """Return the scores of pairs that share what two builds share; ``None`` without any.

    Of parts changed on an engine whose family is not known, the more cautious ones of those with
    families left out and those without.
    """
    shared = shared_by(both, one_shop=one_shop)
    usual = pairs.get(shared)
    if shared != CHANGED or usual is None or all(one.family == "known" for one in both):
        return usual
    cautious = pairs.get(f"{CHANGED}{NEW_FAMILY}")
    if cautious is None:
        return usual
    factors = [one.mean.factor(_CAUTIOUS) or 0.0 for one in (usual, cautious)]
    return cautious if factors[1] > factors[0] else usual


def shared_by(both: Sequence[Prediction], *, one_shop: bool) -> str:
    """Return what two builds share, one of `difference_errors.SHARED`."""
    a, b = both
    if _one_engine(both):
        return CHANGED
    if a.measured is not None and b.measured is not None:
        same = (
            a.ahead is not None
            and b.ahead is not None
            and a.ahead.same_engine(a.row, b.ahead, b.row)
        )
        return ONE_ENGINE if same else TWO_MEASURED
    return ONE_SHOP if one_shop and not _only_one_measured(both) else TWO_SHOPS


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
    return expected(first, second, _correlation(both, rpm, scores))


def _correlation(both: Sequence[Prediction], rpm: Floats, scores: PairScores | None) -> Floats:
    a, b = both
    if a.parts is not None and b.parts is not None and _one_engine(both):
        return a.parts.correlation(b.parts, rpm)
    return a.correlation(b, rpm, scores)


def _one_engine(both: Sequence[Prediction]) -> bool:
    """Return whether two builds are one engine that was not measured, with other parts."""
    a, b = both
    return a.parts is not None and b.parts is not None and a.parts.of_one_engine(b.parts)


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
    if one.parts is not None and _one_engine(both):
        return one.parts.width(rpm) * one.widened
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
