"""The difference of two builds, with its own limits and chances."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pullbook.schemas.answer import Between, rounded

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats
    from pullbook.schemas.standing import Standing

#: How a build is compared: as its own pull measured it, or as predicted.
_COMPARED_AS = {True: "measured", False: "predicted"}


#: Less torque than this, lb-ft, is none.
_NOTHING = 1e-6


@dataclass(frozen=True, slots=True)
class Difference:
    """One build minus another, lb-ft at the reference condition.

    Attributes
    ----------
    names
        Names of the two builds.
    band
        Lowest and highest engine speed that were asked for, rev/min.
    level
        Confidence level of the limits, between 0 and 1.
    one_shop
        Whether both are assumed to be tested by one shop.
    shared
        What the two share that their limits rest on, one of `difference_errors.SHARED`.
    mean_a, mean_b
        Mean torque of each over `over`.
    mean
        Their difference.
    power_a, power_b, power
        Mean power of each over `over`, hp, and their difference; its limits come from the same
        errors as those of torque.
    over
        The part of the band that means are over: what was tested of it, or all of it if none was.
    tested
        Lowest and highest speed of the band that builds like both were tested at; ``None`` if they
        were tested at none of it.
    chance
        Chance that the first has the higher mean; ``None`` without calibration.
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
    shared: str
    mean_a: float
    mean_b: float
    mean: Between
    power_a: float
    power_b: float
    power: Between
    over: tuple[float, float]
    tested: tuple[float, float] | None
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

    @property
    def alike(self) -> bool:
        """Whether the two are the same at every speed, as one build given twice is."""
        return all(abs(one.value) < _NOTHING for one in (self.mean, *self.curve))

    def times(self, factor: float) -> Difference:
        """Return the difference with all torque multiplied by a factor."""
        means = {
            name: getattr(self, name) * factor
            for name in ("mean_a", "mean_b", "power_a", "power_b")
        }
        mean, power = self.mean.times(factor), self.power.times(factor)
        curve = [one.times(factor) for one in self.curve]
        return replace(self, **means, mean=mean, power=power, curve=curve)

    def as_json(self) -> dict[str, Any]:
        """Return the difference as the object that ``compare --json`` prints."""
        return {
            "band": list(self.over),
            "asked_band": list(self.band),
            "level": self.level,
            "calibrated": self.calibrated,
            "same_shop": self.one_shop,
            "limits_for": self.shared,
            "mean_torque": {
                "a": rounded(self.mean_a),
                "b": rounded(self.mean_b),
                **_limits(self.mean, "difference"),
            },
            "mean_power": {
                "a": rounded(self.power_a),
                "b": rounded(self.power_b),
                **_limits(self.power, "difference"),
            },
            "tested": None if self.tested is None else list(self.tested),
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
