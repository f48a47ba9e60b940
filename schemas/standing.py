"""Whether a build is inside, at the edge of or outside the data, and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pullbook.schemas.field_words import Described, Range


class Standing(StrEnum):
    """Whether a build is inside, at the edge of or outside the data."""

    INSIDE = "inside"
    EDGE = "edge"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a build is not inside the data.

    Attributes
    ----------
    field
        The field in the code's spelling, or ``combination``.
    value, low, high
        Its value and the tested range, in the field's own unit; ``None`` where there is no range.
    severity
        Above 1 the build is outside the data, otherwise at the edge.
    wording
        The message, with ``{}`` for each of the quantities.
    quantities
        What the message names, in order.
    """

    field: str
    value: float | str
    low: float | None
    high: float | None
    severity: float
    wording: str
    quantities: tuple[Described | Range, ...] = ()

    @property
    def outside(self) -> bool:
        """Whether this reason alone puts the build outside the data."""
        return self.severity > 1

    @property
    def message(self) -> str:
        """The reason in words, in inch units."""
        return self.worded(metric=False)

    def worded(self, *, metric: bool) -> str:
        """Return the reason in words, in inch or in metric units."""
        return self.wording.format(*(one.worded(metric=metric) for one in self.quantities))
