"""Varying a build: the effect of one or two fields, with other fields fixed or tied to them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.comparison.compare import compare
from pullbook.model.comparison.difference import Difference
from pullbook.model.prediction.over_band import over_band
from pullbook.model.range.tested_speeds import DEFAULT_RPM, band_speeds, speeds_of
from pullbook.pipeline.builds import build_files
from pullbook.schemas.answer import rounded
from pullbook.schemas.errors import InputError
from pullbook.schemas.field import Kind
from pullbook.schemas.field_words import described, spoken
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.prediction import Peaks, Prediction
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Between

    Predict = Callable[[Sequence[Build]], list[Prediction]]

#: What is printed of the difference from the original build.
_AGAINST = ("mean_torque", "mean_power", "chance_a_above_b", "told_apart", "curve", "crossovers")
#: Most variants that are predicted.
MOST = 500


class VaryError(InputError):
    """A field that cannot be varied in this way; the message says why."""


@dataclass(frozen=True, slots=True)
class Variant:
    """One variant of a build.

    Attributes
    ----------
    values
        Its values of the varied fields, and of those tied to them.
    found
        Its prediction.
    mean
        Mean torque over the band, lb-ft; `power` is mean power, hp.
    difference
        The variant minus the original build, at the same shop.
    tested
        Lowest and highest speed of the band that builds like it were tested at, if any.
    peaks
        Its peaks of torque and of power.
    is_base
        Whether it is the original build itself.
    """

    values: Mapping[str, Any]
    found: Prediction
    mean: Between
    power: Between
    difference: Difference
    tested: tuple[float, float] | None
    peaks: Peaks
    is_base: bool = False

    @property
    def swept(self) -> bool:
        """Whether builds like it were tested over the whole band."""
        return self.tested == self.difference.band

    def times(self, factor: float) -> Variant:
        """Return the variant with all torque and power multiplied by a factor."""
        torque, power = (peak and peak.times(factor) for peak in self.peaks)
        return replace(
            self,
            mean=self.mean.times(factor),
            power=self.power.times(factor),
            difference=self.difference.times(factor),
            peaks=self.peaks._replace(torque=torque, power=power),
        )

    def as_json(self) -> dict[str, Any]:
        """Return the variant as ``vary --json`` prints it."""
        difference = self.difference.as_json()
        return {
            "values": dict(self.values),
            "standing": self.found.standing.value,
            "swept": self.swept,
            "reasons": [reason.message for reason in self.found.reasons],
            "mean_torque": {
                "torque": rounded(self.mean.value),
                "low": rounded(self.mean.low),
                "high": rounded(self.mean.high),
            },
            "mean_power": {
                "power": rounded(self.power.value),
                "low": rounded(self.power.low),
                "high": rounded(self.power.high),
            },
            "tested": None if self.tested is None else list(self.tested),
            "peak_torque": self.peaks.torque and self.peaks.torque.as_json("torque"),
            "peak_power": self.peaks.power and self.peaks.power.as_json("power"),
            "against_base": {name: difference[name] for name in _AGAINST},
        }


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
        replace(one, is_base=all(base.values.get(n) == value for n, value in own.items()))
        for one, own in zip(found, values, strict=True)
    ]


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
    made = []
    for one, own in zip(found, values, strict=True):
        means = over_band(one, band, level)
        made.append(
            Variant(
                values=own,
                found=one,
                mean=means.torque,
                power=means.power,
                difference=compare((one, base), ("variant", "base"), pairs, band, level, rpm, True),
                tested=means.tested,
                peaks=one.peaks(speeds_of(*DEFAULT_RPM), level),
            )
        )
    return made
