"""The average of a curve over a band of engine speeds, as an answer holds it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pullbook.schemas.answer import rounded

if TYPE_CHECKING:
    from pullbook.schemas.answer import Between


@dataclass(frozen=True, slots=True)
class BandMean:
    """Mean torque and power over a band.

    Attributes
    ----------
    band
        Lowest and highest engine speed, rev/min.
    torque, power
        The means, lb-ft and hp, with limits.
    tested
        Lowest and highest speed of the band that builds like it were tested at, rev/min; ``None``
        if they were tested at none of it.
    """

    band: tuple[float, float]
    torque: Between
    power: Between
    tested: tuple[float, float] | None

    def times(self, factor: float) -> BandMean:
        """Return the means multiplied by a factor."""
        torque, power = self.torque.times(factor), self.power.times(factor)
        return replace(self, torque=torque, power=power)

    def as_json(self) -> dict[str, Any]:
        """Return the means as ``predict --json`` prints them."""
        return {
            "band": [rounded(end) for end in self.band],
            **self.torque.named("torque"),
            **self.power.named("power"),
            "tested": None if self.tested is None else [rounded(end) for end in self.tested],
        }
