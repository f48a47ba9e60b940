"""A parts list once it is read: parts, limits and the goal."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from pullbook.pipeline.loads.ceilings import Ceilings
from pullbook.pipeline.vocabulary import numerals
from pullbook.schemas.errors import InputError, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.field import Value
    from pullbook.schemas.on_request import Load


#: least_torque: that of the worst speed of a band.
GOALS = ("mean_torque", "least_torque", "torque", "power")
BANDS = ("mean_torque", "least_torque")
_FASTEST = 1e5


PRICE, TORQUE = "price", "torque"


class Goal(NamedTuple):
    """What a choice is for.

    ``of`` is one of `GOALS`, ``band`` its engine speeds as (low, high), rev/min, and ``loads`` what
    torque must clear besides, ``ceilings`` what should not be exceeded. ``asked`` is the band that
    was asked for, where not all of it was tested.
    """

    of: str
    band: tuple[float, float]
    loads: tuple[Load, ...] = ()
    ceilings: Ceilings = Ceilings()
    asked: tuple[float, float] | None = None

    def over(self, tested: tuple[float, float] | None) -> Goal:
        """Return the goal over the tested part of its band; over all of it if none was."""
        if tested is None or tested == self.band:
            return self
        return self._replace(band=tested, asked=self.asked or self.band)

    @property
    def unit(self) -> str:
        """The unit of the goal."""
        return "hp" if self.of == "power" else "lb-ft"

    def times(self, factor: float) -> Goal:
        """Return the goal with the torque of its loads multiplied by a factor."""
        return self._replace(loads=tuple(one.times(factor) for one in self.loads))

    def as_json(self) -> dict[str, Any]:
        """Return the goal as ``choose --json`` prints it."""
        return {"of": self.of, "rpm": list(self.band), "asked_rpm": list(self.asked or self.band),
                "unit": self.unit}  # fmt: skip


class PartsListError(InputError):
    """A parts list that cannot be used; the message says where and why."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part: its kind, name, price and the fields it sets."""

    kind: str
    name: str
    price: float | None
    values: Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of a combination: for a field, for the price, or for torque over a band of rpm."""

    of: str
    at_least: float | None
    at_most: float | None
    over: tuple[float, float] | None = None

    def times(self, factor: float) -> Limit:
        """Return the limit, if it is one of torque, multiplied by a factor."""
        if self.of != TORQUE:
            return self
        low, high = (None if one is None else one * factor for one in (self.at_least, self.at_most))
        return Limit(self.of, low, high, self.over)


@dataclass(frozen=True, slots=True)
class PartsList:
    """Parts to choose from, with a goal and limits.

    Attributes
    ----------
    base
        The build that the parts go into.
    parts
        Parts by kind; one of each kind is used.
    goal
        What is wanted.
    limits
        Limits that a combination must keep.
    """

    base: Build
    parts: Mapping[str, tuple[Part, ...]]
    goal: Goal
    limits: tuple[Limit, ...]

    def times(self, factor: float) -> PartsList:
        """Return the parts list with its limits of torque and its loads multiplied by a factor."""
        limits = tuple(one.times(factor) for one in self.limits)
        return replace(self, goal=self.goal.times(factor), limits=limits)


def goal_from(given: Mapping[str, Any]) -> Goal:
    """Return the goal that one name with its engine speeds means; raise `PartsListError`."""
    if len(given) != 1 or next(iter(given)) not in GOALS:
        near = did_you_mean(next(iter(given)), GOALS) if len(given) == 1 else ""
        msg = (
            "the goal must be one, with engine speeds: mean_torque: 2000:4000, least_torque:"
            f" 2000:4000, torque: 3000 or power: 5000.{near}"
        )
        raise PartsListError(msg)
    ((name, text),) = given.items()
    where = f"the goal {name}"
    if name in BANDS:
        return Goal(name, band_of(text, where))
    rpm = number_of(text, where)
    if not 0 < rpm < _FASTEST:
        msg = f"{where} is at {rpm:g} rpm; it must be above 0 and below {_FASTEST:g} rpm"
        raise PartsListError(msg)
    return Goal(name, (rpm, rpm))


def goal_of(text: str) -> Goal:
    """Return the goal that ``mean_torque=2000:4000`` or ``2000:4000`` means.

    Raises
    ------
    PartsListError
        It is none.

    """
    name, _, speeds = text.rpartition("=")
    name = name.strip().casefold().replace(" ", "_").replace("-", "_") or "mean_torque"
    return goal_from({name: speeds.strip()})


def number_of(text: Any, where: str) -> float:
    """Return the number that a text is; raise `PartsListError`, which says where."""
    number = numerals.plain(text.strip()) if isinstance(text, str) else None
    if number is None or not math.isfinite(number):
        msg = f"{where} is {text!r}, which is not a number"
        raise PartsListError(msg)
    return number


def band_of(text: Any, where: str) -> tuple[float, float]:
    """Return the band that ``low:high`` means; raise `PartsListError`, which says where."""
    parts = str(text).removesuffix("rpm").split(":")
    if len(parts) != 2:
        msg = f"{where} is {text!r}; write low:high, such as 2000:4000"
        raise PartsListError(msg)
    low, high = (number_of(part, where) for part in parts)
    if not 0 < low < high < _FASTEST:
        msg = f"{where} is {text!r}; write low:high, above 0 and below {_FASTEST:g} rpm"
        raise PartsListError(msg)
    return low, high
