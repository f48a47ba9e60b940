"""One variant of a build, compared with the build."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pullbook.schemas.answer import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.comparison.difference import Difference
    from pullbook.model.prediction.prediction import Peaks, Prediction
    from pullbook.schemas.answer import Between

#: What is printed of the difference from the original build.
_AGAINST = ("mean_torque", "mean_power", "chance_a_above_b", "told_apart", "curve", "crossovers")


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
        Mean torque over what was tested of the band, lb-ft; `power` is mean power, hp.
    difference
        The variant minus the original build, at the same shop.
    tested
        Lowest and highest speed of these that builds like it were tested at, if any.
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
        """Whether builds like it were tested at all of the speeds that means are over."""
        return self.tested == self.difference.over

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
