"""The result of choosing parts: combinations, ranked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.schemas.answer import Between, rounded
from pullbook.schemas.errors import InputError
from pullbook.schemas.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.choices.goals import Reached
    from pullbook.model.choices.money import Step
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.pipeline.builds.parts import Goal, Limit, Part
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Peak
    from pullbook.schemas.on_request import Caution


#: Rules out a combination when similar builds were not swept over the wanted speeds.
SWEEP = "what was swept"


class ChooseError(InputError):
    """A parts list from which nothing can be chosen; the message says why."""


@dataclass(frozen=True, slots=True)
class Combination:
    """One combination of parts.

    Attributes
    ----------
    parts
        The part of each kind.
    price
        Price of all parts; ``None`` if one has no price.
    reached
        Value of the goal, lb-ft or hp, and how far it clears each load.
    low
        Mean torque over the low range, lb-ft.
    power
        Peak power, hp; ``None`` if no speed is supported.
    chance
        Chance that it is the best of the ranked ones; ``None`` without calibration.
    swept
        Whether such builds were tested over all the wanted speeds.
    found
        Its prediction.
    cautions
        What it exceeds of what it should not.
    """

    parts: tuple[Part, ...]
    price: float | None
    reached: Reached
    low: Between
    power: Peak | None
    chance: float | None
    swept: bool
    found: Prediction
    cautions: tuple[Caution, ...] = ()

    @property
    def name(self) -> str:
        """The names of its parts."""
        return " + ".join(part.name for part in self.parts)

    @property
    def goal(self) -> Between:
        """Value of the goal, lb-ft or hp."""
        return self.reached.value

    @property
    def outside(self) -> bool:
        """Whether it is outside the data."""
        return self.found.standing is Standing.OUTSIDE

    def times(self, factor: float) -> Combination:
        """Return the combination with all torque and power multiplied by a factor."""
        return replace(
            self,
            reached=self.reached.times(factor),
            low=self.low.times(factor),
            power=self.power and self.power.times(factor),
        )

    def as_json(self) -> dict[str, Any]:
        """Return the combination as ``choose --json`` prints it."""
        return {
            "parts": {part.kind: part.name for part in self.parts},
            "price": rounded(self.price),
            "goal": _limits(self.goal),
            "low_range": _limits(self.low),
            "peak_power": None if self.power is None else self.power.as_json("power"),
            "chance_best": rounded(self.chance, 4),
            "swept": self.swept,
            "loads": [one.in_short() for one in self.reached.loads],
            "cautions": [one.as_json() for one in self.cautions],
            "standing": self.found.standing.value,
            "reasons": [reason.message for reason in self.found.reasons],
        }


def _limits(one: Between) -> dict[str, float | None]:
    return {"value": rounded(one.value), "low": rounded(one.low), "high": rounded(one.high)}


@dataclass(frozen=True, slots=True)
class Choice:
    """The combinations of a parts list, ranked.

    Attributes
    ----------
    ranked
        Combinations within the limits and not outside the data, the best first.
    short
        Those that do not clear a load of the goal, or are not known to, the best first.
    outside
        Those outside the data, the best first; none of them is recommended.
    beyond
        Number of combinations that each limit ruled out.
    unfit
        Number of combinations that do not go together, and why the first does not.
    base
        The build that the parts go into.
    goal, level, low
        The goal, the confidence level of the limits, and the band of the low range.
    parts, limits
        The parts that were to choose from, by kind, and what every combination had to meet.
    money
        What money buys among the ranked ones, the cheapest first; empty without prices.
    for_power
        Lowest and highest engine speed at which all of them were tested, rev/min: highest power is
        over these, so that none looks better for having been tested further. ``None`` if there is
        no such speed.
    """

    ranked: list[Combination]
    short: list[Combination]
    outside: list[Combination]
    beyond: dict[str, int]
    unfit: tuple[int, str]
    base: Build
    goal: Goal
    level: float
    low: tuple[float, float]
    parts: Mapping[str, tuple[Part, ...]]
    limits: tuple[Limit, ...]
    for_power: tuple[float, float] | None
    money: list[Step]

    @property
    def unit(self) -> str:
        """The unit of the goal."""
        return self.goal.unit

    def times(self, factor: float) -> Choice:
        """Return the choice with all torque and power multiplied by a factor."""
        ranked, short, outside = (
            [one.times(factor) for one in some] for some in (self.ranked, self.short, self.outside)
        )
        limits, goal = tuple(one.times(factor) for one in self.limits), self.goal.times(factor)
        money = [one.times(factor) for one in self.money]
        return replace(
            self, ranked=ranked, short=short, outside=outside, goal=goal, limits=limits, money=money
        )

    def as_json(self) -> dict[str, Any]:
        """Return the choice as the object that ``choose --json`` prints."""
        return {
            "goal": self.goal.as_json(),
            "level": self.level,
            "low_range": list(self.low),
            "power_range": None if self.for_power is None else list(self.for_power),
            "ranked": [one.as_json() for one in self.ranked],
            "not_clearing": [one.as_json() for one in self.short],
            "outside": [one.as_json() for one in self.outside],
            "money": [one.as_json() for one in self.money],
            "ruled_out": self.beyond,
            "unfit": {"count": self.unfit[0], "first": self.unfit[1]},
        }

    def front(self) -> list[Combination]:
        """Return the combinations that no other beats in both low-range torque and peak power."""
        found: list[Combination] = []
        highest = -np.inf
        power = [(one, one.power.height.value) for one in self.ranked if one.power is not None]
        for one, height in sorted(power, key=lambda pair: (-pair[0].low.value, -pair[1])):
            if height > highest:
                found.append(one)
                highest = height
        return found
