"""Parts, limits and goals: what a list of parts holds once it is read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.fields import Value


GOALS = ("mean_torque", "torque", "power")


PRICE, TORQUE = "price", "torque"


class PartsListError(InputError):
    """A list of parts that cannot be used; the message says where and why."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part: what it is called, what it costs, and the fields it brings."""

    kind: str
    name: str
    price: float | None
    values: Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Limit:
    """What must hold of a combination: a field, the price, or torque over a band of rpm."""

    of: str
    at_least: float | None
    at_most: float | None
    over: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class PartsList:
    """A list of parts, and what is wanted of them.

    Attributes
    ----------
    base
        The build that they go into.
    parts
        By kind; one of each kind goes in.
    goal
        One of `GOALS`, and the band or the engine speed that it is of, rev/min.
    limits
        What must hold.
    """

    base: Build
    parts: Mapping[str, tuple[Part, ...]]
    goal: tuple[str, tuple[float, float]]
    limits: tuple[Limit, ...]
