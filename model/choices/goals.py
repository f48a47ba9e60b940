"""What a choice is for: mean torque over a band, torque or power at a speed, or the worst speed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.comparison.compare import compare
from pullbook.model.prediction.clearance import of_goal
from pullbook.model.prediction.intervals import between
from pullbook.model.prediction.over_band import ENOUGH, Band, share_tested
from pullbook.model.prediction.prediction import BAND_POINTS
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.answer import Between

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.pipeline.builds.parts import Goal
    from pullbook.schemas.on_request import Clearance


@dataclass(frozen=True, slots=True)
class Reached:
    """What a build reaches of a goal.

    Attributes
    ----------
    value
        lb-ft, or hp for power.
    rpm
        The speed it is reached at; ``None`` for the mean over a band.
    share
        The share of the speeds of the goal that builds like it were swept over.
    loads
        How far it clears each load of the goal.
    """

    value: Between
    rpm: float | None
    share: float
    loads: tuple[Clearance, ...] = ()

    def times(self, factor: float) -> Reached:
        """Return it with its torque and power multiplied by a factor."""
        loads = tuple(one.times(factor) for one in self.loads)
        return replace(self, value=self.value.times(factor), loads=loads)

    @property
    def clears(self) -> bool:
        """Whether it is known to clear every load of the goal."""
        return all(one.cleared for one in self.loads)

    @property
    def room(self) -> float:
        """How far its lower limit is above a load at the least, as a share of it.

        Without limits, how far its torque is; where no such build was tested, less than any other.
        """
        worst = [one.worst for one in self.loads]
        return min((-np.inf if one is None else
                    (one.margin.value if one.margin.low is None else one.margin.low) / one.load
                    for one in worst), default=np.inf)  # fmt: skip

    @property
    def swept(self) -> bool:
        """Whether builds like it were tested over all of the goal's speeds."""
        return self.share == 1.0

    @property
    def enough(self) -> bool:
        """Whether they were tested over enough of them."""
        return self.share >= ENOUGH


def reached(goal: Goal, found: Prediction, level: float) -> Reached:
    """Return what a build reaches, with limits at a level."""
    share = share_tested(found, goal.band)
    loads = of_goal(found, goal.loads, level)
    if goal.of == "mean_torque":
        return Reached(found.mean(goal.band, level), None, share, loads)
    rpm = _worst(found, goal.band) if goal.of == "least_torque" else goal.band[0]
    at = np.array([rpm])
    factor = rpm / TORQUE_POWER_CONSTANT if goal.of == "power" else 1.0
    torque, width = float(found.torque(at)[0]), float(found.width(at)[0])
    value = between(torque * factor, width, found.factor("point", level))
    return Reached(value, rpm, share, loads)


def _worst(found: Prediction, band: tuple[float, float]) -> float:
    rpm = np.linspace(*band, BAND_POINTS)
    return float(rpm[int(found.torque(rpm).argmin())])


def less(
    goal: Goal,
    one: Prediction,
    best: Prediction,
    at: Reached,
    pairs: Mapping[str, PairScores],
    level: float,
) -> tuple[Between, float | None]:
    """Return what a build reaches less than the best, both on one dyno, and its chance of more.

    The least torque is compared at the speed where the best build has its least.
    """
    speed = at.rpm if at.rpm is not None else goal.band[0]
    band = goal.band if goal.band[1] > goal.band[0] else (speed, speed + 1.0)
    over, rpm = Band(band, band), np.array([speed])
    both = compare((best, one), ("best", "one"), pairs, over, level, rpm, True)
    if goal.of == "mean_torque":
        return both.mean, None if both.chance is None else 1 - both.chance
    factor = speed / TORQUE_POWER_CONSTANT if goal.of == "power" else 1.0
    apart, chance = both.curve[0], both.chances[0]
    ends = [None if end is None else end * factor for end in (apart.low, apart.high)]
    return Between(apart.value * factor, *ends), None if chance is None else 1 - chance
