"""A parts list once it is read: parts, limits and the goal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.field import Value


#: least_torque: that of the worst speed of a band.
GOALS = ("mean_torque", "least_torque", "torque", "power")
BANDS = ("mean_torque", "least_torque")


PRICE, TORQUE = "price", "torque"


class Goal(NamedTuple):
    """What a choice is for: one of `GOALS`, and its engine speeds as (low, high), rev/min."""

    of: str
    band: tuple[float, float]

    @property
    def unit(self) -> str:
        """The unit of the goal."""
        return "hp" if self.of == "power" else "lb-ft"

    def as_json(self) -> dict[str, Any]:
        """Return the goal as ``choose --json`` prints it."""
        return {"of": self.of, "rpm": list(self.band), "unit": self.unit}


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
