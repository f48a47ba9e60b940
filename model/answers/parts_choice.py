"""What came of a list of parts: combinations, ranked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.schemas.answer import Between, Standing, rounded
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from pullbook.model.answers.prediction import Prediction
    from pullbook.pipeline.builds.parts import Part
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Peak


class ChooseError(InputError):
    """A list that nothing can be chosen from; the message says why."""


@dataclass(frozen=True, slots=True)
class Combination:
    """One combination of parts.

    Attributes
    ----------
    parts
        The part of each kind.
    price
        Of all parts together; ``None`` where one has none.
    goal
        What the goal comes to: lb-ft or hp.
    low
        Mean torque over the low range, lb-ft.
    power
        Peak power, hp; ``None`` where nothing is supported.
    chance
        That it is the best of those that are ranked; ``None`` without calibration.
    swept
        Whether such builds were swept over all the speeds that are asked about.
    found
        What the model says of it.
    """

    parts: tuple[Part, ...]
    price: float | None
    goal: Between
    low: Between
    power: Peak | None
    chance: float | None
    swept: bool
    found: Prediction

    @property
    def name(self) -> str:
        """Its parts by name."""
        return " + ".join(part.name for part in self.parts)

    @property
    def outside(self) -> bool:
        """Whether it stands outside what was tested."""
        return self.found.standing is Standing.OUTSIDE

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
            "standing": self.found.standing.value,
            "reasons": [reason.message for reason in self.found.reasons],
        }


def _limits(one: Between) -> dict[str, float | None]:
    return {"value": rounded(one.value), "low": rounded(one.low), "high": rounded(one.high)}


@dataclass(frozen=True, slots=True)
class Choice:
    """What came of a list of parts.

    Attributes
    ----------
    ranked
        Combinations within the limits that do not stand outside, the best first.
    outside
        Those that stand outside, the best first: nobody knows enough of them to recommend one.
    beyond
        How many combinations each limit ruled out.
    unfit
        How many do not go together, and why the first of them does not.
    base
        The build that the parts go into.
    goal, level, low
        What was wanted, the level of the limits, and the band of the low range.
    """

    ranked: list[Combination]
    outside: list[Combination]
    beyond: dict[str, int]
    unfit: tuple[int, str]
    base: Build
    goal: tuple[str, tuple[float, float]]
    level: float
    low: tuple[float, float]

    @property
    def unit(self) -> str:
        """The unit of the goal."""
        return "hp" if self.goal[0] == "power" else "lb-ft"

    def as_json(self) -> dict[str, Any]:
        """Return the choice as the object that ``choose --json`` prints."""
        name, rpm = self.goal
        return {
            "goal": {"of": name, "rpm": list(rpm), "unit": self.unit},
            "level": self.level,
            "low_range": list(self.low),
            "ranked": [one.as_json() for one in self.ranked],
            "outside": [one.as_json() for one in self.outside],
            "ruled_out": self.beyond,
            "unfit": {"count": self.unfit[0], "first": self.unfit[1]},
        }

    def front(self) -> list[Combination]:
        """Return the combinations that no other beats in low-range torque and in peak power."""
        found: list[Combination] = []
        highest = -np.inf
        power = [(one, one.power.height.value) for one in self.ranked if one.power is not None]
        for one, height in sorted(power, key=lambda pair: (-pair[0].low.value, -pair[1])):
            if height > highest:
                found.append(one)
                highest = height
        return found
