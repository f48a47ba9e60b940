"""Varying a build: what one or two of its fields do, all else equal, and what moves with them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.answers.compare import Difference, compare
from pullbook.model.answers.prediction import BAND_POINTS
from pullbook.pipeline.builds import build_files
from pullbook.schemas.answer import rounded
from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import FIELDS, Kind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.prediction import Peaks, Prediction
    from pullbook.model.learning.sample import Floats
    from pullbook.model.limits.difference_errors import Pairs
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Between

#: Variants that are looked at.
MOST = 500


class VaryError(InputError):
    """A field that cannot be varied so; the message says why."""


@dataclass(frozen=True, slots=True)
class Variant:
    """One variant of a build.

    Attributes
    ----------
    values
        Its values of the varied fields, and of those tied to them.
    found
        What the model says of it.
    mean
        Mean torque over the band, lb-ft.
    difference
        The variant less the build it was made of; the same shop.
    swept
        Whether builds like it were swept over the whole band.
    peaks
        Its peaks of torque and of power.
    """

    values: Mapping[str, Any]
    found: Prediction
    mean: Between
    difference: Difference
    swept: bool
    peaks: Peaks

    def as_json(self) -> dict[str, Any]:
        """Return the variant as ``vary --json`` prints it."""
        told = self.difference.as_json()
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
            "peak_torque": self.peaks.torque and self.peaks.torque.as_json("torque"),
            "peak_power": self.peaks.power and self.peaks.power.as_json("power"),
            "against_base": {
                name: told[name]
                for name in ("mean_torque", "chance_a_above_b", "told_apart", "curve", "crossovers")
            },
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
        Fields that move with the first varied one: by how much for each unit of it.
    base
        Values of the build.

    Raises
    ------
    VaryError
        A tied field, or the field it is tied to, is not given as a number, or there are too many
        variants.

    """
    count = int(np.prod([len(values) for values in ranges.values()]))
    if count > MOST:
        msg = f"{count} variants are too many; {MOST} can be looked at"
        raise VaryError(msg)
    leading = next(iter(ranges))
    both = [name for name in ties if name in ranges]
    if both:
        msg = f"{both[0]} cannot be varied and move with another field at once"
        raise VaryError(msg)
    for name in [*ties, *([leading] if ties else [])]:
        if not isinstance(base.get(name), int | float):
            msg = f"{name} can move with another field only if the build gives it; it does not"
            raise VaryError(msg)
    made = []
    for values in product(*ranges.values()):
        one = dict(zip(ranges, values, strict=True))
        for name, share in ties.items():
            one[name] = round(base[name] + share * (one[leading] - base[leading]), 6)
        made.append({name: _sound(name, value) for name, value in one.items()})
    return made


def _sound(name: str, value: Any) -> Any:
    """Return a value as its field holds it."""
    if FIELDS[name].kind is Kind.WHOLE:
        if not math.isfinite(value) or value != int(value):
            msg = f"{name} is a whole number; it cannot be {value:g}"
            raise VaryError(msg)
        return int(value)
    if FIELDS[name].kind is Kind.NUMBER:
        if not math.isfinite(value):
            msg = f"{name} cannot be {value:g}"
            raise VaryError(msg)
        return float(value)
    return value


def builds(base: Build, values: Sequence[Mapping[str, Any]]) -> list[Build]:
    """Return the variants of a build.

    Raises
    ------
    VaryError
        A variant is no engine; the message says which and why.

    """
    made = []
    for own in values:
        name = name_of(own)
        build = build_files.changed(base, name, own)
        if build.fault is not None:
            msg = f"{name}: {build.fault.message}"
            raise VaryError(msg)
        made.append(build)
    return made


def name_of(values: Mapping[str, Any]) -> str:
    """Return the values of a variant as a name."""
    told = {name: f"{v:.6g}" if isinstance(v, float) else v for name, v in values.items()}
    return ", ".join(f"{name} {value}" for name, value in told.items())


def variants(
    base: Prediction,
    found: Sequence[Prediction],
    values: Sequence[Mapping[str, Any]],
    pairs: Pairs | None,
    band: tuple[float, float],
    level: float,
    rpm: Floats,
) -> list[Variant]:
    """Return what each variant does against the build it was made of.

    Parameters
    ----------
    base
        What the model says of the build.
    found, values
        What it says of its variants, and their values.
    pairs
        Scores of the model's pairs.
    band
        Engine speeds whose mean counts, rev/min.
    level
        Of the limits.
    rpm
        Engine speeds of the differences.

    """
    return [
        Variant(
            values=own,
            found=one,
            mean=one.mean(band, level),
            difference=compare((one, base), ("variant", "base"), pairs, band, level, rpm, True),
            swept=bool(one.supported(np.linspace(*band, BAND_POINTS)).all()),
            peaks=one.peaks(one.speeds, level),
        )
        for one, own in zip(found, values, strict=True)
    ]
