"""A parts list once it is read: parts, limits and the goal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.field import Value


GOALS = ("mean_torque", "torque", "power")


PRICE, TORQUE = "price", "torque"


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
        One of `GOALS`, and its engine speeds as (low, high), rev/min.
    limits
        Limits that a combination must keep.
    """

    base: Build
    parts: Mapping[str, tuple[Part, ...]]
    goal: tuple[str, tuple[float, float]]
    limits: tuple[Limit, ...]

    def times(self, factor: float) -> PartsList:
        """Return the parts list with its limits of torque multiplied by a factor."""
        return replace(self, limits=tuple(one.times(factor) for one in self.limits))
