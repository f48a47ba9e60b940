"""What a free search found: the best build, those as good, and what each field is worth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pullbook.schemas.answer import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.choices.goals import Reached
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.pipeline.builds.free_fields import Free
    from pullbook.pipeline.builds.parts import Goal
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Between
    from pullbook.schemas.on_request import Caution

#: A goal at one speed is drawn over a band of so many rpm to each side.
_AROUND = 500.0


@dataclass(frozen=True, slots=True)
class Found:
    """A build that the search looked at.

    Attributes
    ----------
    values
        Its free fields, and those that moved along.
    free
        Names of the free fields.
    build, found
        The build and its prediction.
    reached
        What it reaches of the goal.
    less
        What it reaches less than the best, with limits; ``None`` for the best.
    chance
        Chance that it reaches more than the best; ``None`` without calibration.
    cautions
        What it exceeds of what it should not.
    """

    values: Mapping[str, Any]
    free: tuple[str, ...]
    build: Build
    found: Prediction
    reached: Reached
    less: Between | None = None
    chance: float | None = None
    cautions: tuple[Caution, ...] = ()

    def times(self, factor: float) -> Found:
        """Return it with its torque and power multiplied by a factor."""
        less = None if self.less is None else self.less.times(factor)
        return replace(self, reached=self.reached.times(factor), less=less)

    def as_json(self) -> dict[str, Any]:
        """Return the build as ``choose --free --json`` prints it."""
        one = self.reached.value
        return {
            "values": dict(self.values),
            "goal": {"value": rounded(one.value), "low": rounded(one.low),
                     "high": rounded(one.high), "rpm": rounded(self.reached.rpm),
                     "swept": self.reached.swept},
            "less_than_best": None if self.less is None else {
                "value": rounded(self.less.value), "low": rounded(self.less.low),
                "high": rounded(self.less.high)},
            "chance_above_best": rounded(self.chance, 4),
            "loads": [load.in_short() for load in self.reached.loads],
            "cautions": [caution.as_json() for caution in self.cautions],
            "standing": self.found.standing.value,
            "reasons": [reason.message for reason in self.found.reasons],
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Slope:
    """What each unit of a field brings on one side of the best build.

    Attributes
    ----------
    end
        The farthest value on that side that was tested.
    average
        The gain for each unit, on average between there and the best build.
    near
        The gain for each unit close to the best build.
    """

    end: float
    average: float
    near: float

    def times(self, factor: float) -> Slope:
        """Return it with its gains multiplied by a factor."""
        return replace(self, average=self.average * factor, near=self.near * factor)

    def as_json(self) -> dict[str, Any]:
        """Return it as ``choose --free --json`` prints it."""
        return {"to": self.end, "average": rounded(self.average, 4), "near": rounded(self.near, 4)}


@dataclass(frozen=True, slots=True)
class Worth:
    """What a free field is worth, the others as in the best build.

    Attributes
    ----------
    free
        The field, and the range that was searched.
    best
        Its value in the best build.
    below, above
        What each unit of it brings on the way to the best build and beyond it; ``None`` where
        nothing was tested on that side. For a choice both are ``None``.
    as_good
        Lowest and highest value that is not clearly worse; for a choice, those choices.
    at_end
        Whether the best value is at, or close to, an end of the range.
    """

    free: Free
    best: float | str
    below: Slope | None
    above: Slope | None
    as_good: tuple[float | str, ...]
    at_end: bool

    def times(self, factor: float) -> Worth:
        """Return it with its gains multiplied by a factor."""
        sides = (None if one is None else one.times(factor) for one in (self.below, self.above))
        below, above = sides
        return replace(self, below=below, above=above)

    def as_json(self) -> dict[str, Any]:
        """Return the worth as ``choose --free --json`` prints it."""
        one = self.free
        return {
            "field": one.name,
            "best": self.best,
            "gain_per_unit": {
                side: None if one is None else one.as_json()
                for side, one in (("below", self.below), ("above", self.above))
            },
            "as_good": list(self.as_good),
            "at_end_of_range": self.at_end,
        }


@dataclass(frozen=True, slots=True)
class Search:
    """What a search found.

    Attributes
    ----------
    goal, level
        The goal, and the level of the limits.
    free
        The free fields, with what was searched of each.
    base
        The build as it is.
    best
        The best build that is not outside the data.
    alternatives
        Builds unlike it that are not clearly worse, the best first.
    worth
        What each free field is worth.
    short
        The highest build that does not clear a load of the goal, if it comes out higher.
    outside
        The highest build outside the data, if it comes out higher than the best.
    tried
        Number of builds looked at.
    """

    goal: Goal
    level: float
    free: tuple[Free, ...]
    base: Found
    best: Found
    alternatives: list[Found]
    worth: list[Worth]
    short: Found | None
    outside: Found | None
    tried: int

    @property
    def not_given(self) -> list[str]:
        """The free fields that the build as it is leaves out."""
        return [one.name for one in self.free if self.base.build.values.get(one.name) is None]

    @property
    def band(self) -> tuple[float, float]:
        """The band of the goal, or one around its speed, for curves."""
        low, high = self.goal.band
        return (low, high) if high > low else (max(low - _AROUND, 1.0), low + _AROUND)

    def times(self, factor: float) -> Search:
        """Return it with its torque and power multiplied by a factor."""
        return replace(
            self,
            goal=self.goal.times(factor),
            base=self.base.times(factor),
            best=self.best.times(factor),
            alternatives=[one.times(factor) for one in self.alternatives],
            worth=[one.times(factor) for one in self.worth],
            short=None if self.short is None else self.short.times(factor),
            outside=None if self.outside is None else self.outside.times(factor),
        )

    def as_json(self) -> dict[str, Any]:
        """Return the search as the object that ``choose --free --json`` prints."""
        return {
            "goal": self.goal.as_json(),
            "level": self.level,
            "build": self.base.as_json(),
            "not_given": self.not_given,
            "best": self.best.as_json(),
            "alternatives": [one.as_json() for one in self.alternatives],
            "searched": {one.name: one.searched for one in self.free},
            "worth": [one.as_json() for one in self.worth],
            "not_clearing": None if self.short is None else self.short.as_json(),
            "outside": None if self.outside is None else self.outside.as_json(),
            "tried": self.tried,
        }
