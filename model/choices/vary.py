"""Varying a build: the effect of one or two fields, with other fields fixed or tied to them."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.choices.variant import Variant
from pullbook.model.comparison.compare import compare
from pullbook.model.prediction.over_band import ENOUGH, Band, cut_to_tested, over_band, share_tested
from pullbook.model.range.tested_speeds import DEFAULT_RPM, band_speeds, speeds_of
from pullbook.pipeline.builds import build_files
from pullbook.schemas.errors import InputError
from pullbook.schemas.field import Kind
from pullbook.schemas.field_words import described, spoken
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.pipeline.values.sheet import Build

    Predict = Callable[[Sequence[Build]], list[Prediction]]

#: Two values that differ by this share are the same: 88.4 mm is 3.48 in.
_ROUNDED = 2e-4
#: Most variants that are predicted.
MOST = 500


class VaryError(InputError):
    """A field that cannot be varied in this way; the message says why."""


def combinations(
    ranges: Mapping[str, Sequence[Any]], ties: Mapping[str, float], base: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """Return the values of every variant.

    Parameters
    ----------
    ranges
        Values of each varied field.
    ties
        Fields that move with the first varied one, and by how much per unit of it.
    base
        Values of the build.

    Raises
    ------
    VaryError
        The build does not give a tied field, or the field it is tied to, as a number; or there are
        too many variants.

    """
    count = int(np.prod([len(values) for values in ranges.values()]))
    if count > MOST:
        msg = f"the ranges make {count} variants, and {MOST} is the most; take larger steps"
        raise VaryError(msg)
    leading = next(iter(ranges))
    both = [name for name in ties if name in ranges]
    if both:
        msg = (
            f"{spoken(both[0])} cannot be varied and move with another field at the same time; take"
            " one of the two"
        )
        raise VaryError(msg)
    for name in [*ties, *([leading] if ties else [])]:
        if not isinstance(base.get(name), int | float):
            msg = (
                f"{spoken(name)} can move with another field only if the build gives it as a"
                " number; add it to the build"
            )
            raise VaryError(msg)
    found = []
    for values in product(*ranges.values()):
        one = dict(zip(ranges, values, strict=True))
        for name, share in ties.items():
            one[name] = round(base[name] + share * (one[leading] - base[leading]), 6)
        found.append({name: _checked(name, value) for name, value in one.items()})
    return found


def _checked(name: str, value: Any) -> Any:
    """Return a value as its field holds it; raise if it cannot."""
    if FIELDS[name].kind is Kind.WHOLE:
        if not math.isfinite(value) or value != int(value):
            msg = f"{spoken(name)} cannot be {value:g}; give a whole number"
            raise VaryError(msg)
        return int(value)
    if FIELDS[name].kind is Kind.NUMBER:
        if not math.isfinite(value):
            msg = f"{spoken(name)} cannot be {value:g}; give a finite number"
            raise VaryError(msg)
        return float(value)
    return value


def builds(base: Build, values: Sequence[Mapping[str, Any]]) -> list[Build]:
    """Return the variants of a build.

    Raises
    ------
    VaryError
        A variant cannot be an engine; the message says which and why.

    """
    if "displacement" in values[0] and {"bore", "stroke"} <= set(base.given):
        msg = (
            "displacement follows from the build's bore and stroke, so it cannot be varied alone;"
            " vary bore or stroke"
        )
        raise VaryError(msg)
    found = []
    for own in values:
        build = build_files.changed(base, name_of(own), own)
        if build.fault is not None:
            words = (described(name, value, metric=base.metric) for name, value in own.items())
            msg = f"{', '.join(words)}: {build.fault.message}"
            raise VaryError(msg)
        found.append(build)
    return found


def name_of(values: Mapping[str, Any]) -> str:
    """Return the values of a variant as its name."""
    return ", ".join(described(name, value, digits=6) for name, value in values.items())


def vary(
    base: Build,
    ranges: Mapping[str, Sequence[Any]],
    ties: Mapping[str, float],
    predict: Predict,
    pairs: Mapping[str, PairScores],
    band: tuple[float, float],
    level: float,
) -> list[Variant]:
    """Return the variants of a build in one or two fields, each compared with the build.

    Parameters
    ----------
    base
        The build.
    ranges, ties
        As for `combinations`.
    predict
        Returns the predictions of builds.
    pairs, band, level
        As for `variants`.

    Raises
    ------
    VaryError
        A field cannot be varied in this way.

    """
    values = combinations(ranges, ties, base.values)
    own, *others = predict([base, *builds(base, values)])
    found = variants(own, others, values, pairs, band, level, band_speeds(band))
    return [
        replace(one, is_base=all(_same(base.values.get(n), value) for n, value in own.items()))
        for one, own in zip(found, values, strict=True)
    ]


def _same(own: Any, value: Any) -> bool:
    """Return whether a value is that of the build, up to how a unit is rounded."""
    if isinstance(own, float) and isinstance(value, float):
        return math.isclose(own, value, rel_tol=_ROUNDED)
    return bool(own == value)


def variants(
    base: Prediction,
    found: Sequence[Prediction],
    values: Sequence[Mapping[str, Any]],
    pairs: Mapping[str, PairScores],
    band: tuple[float, float],
    level: float,
    rpm: Floats,
) -> list[Variant]:
    """Return each variant compared with the original build.

    Parameters
    ----------
    base
        Prediction of the original build.
    found, values
        Predictions of its variants, and their values.
    pairs
        Scores of the model's pairs.
    band
        Lowest and highest engine speed of the mean, rev/min.
    level
        Confidence level of the limits, between 0 and 1.
    rpm
        Engine speeds of the differences, rev/min.

    """
    own = cut_to_tested([base], band).over
    enough = [one for one in found if share_tested(one, own) >= ENOUGH]
    over = cut_to_tested([base, *enough], own).over
    made = []
    for one, its in zip(found, values, strict=True):
        means = over_band(one, over, level)
        made.append(
            Variant(
                values=its,
                found=one,
                mean=means.torque,
                power=means.power,
                difference=compare(
                    (one, base), ("variant", "base"), pairs, Band(band, over), level, rpm, True
                ),
                tested=means.tested,
                peaks=one.peaks(speeds_of(*DEFAULT_RPM), level),
            )
        )
    return made
