"""Where a build stands to what was tested: inside, at the edge, or outside, and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from model.novelty import CHOICES, NUMBERS
from model.together import with_unit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from model.novelty import Reference
    from model.together import Apart

#: A value beyond the range by more than this share of it stands outside, by less at the edge.
_MARGIN = 0.10
#: A choice seen on fewer sheets stands at the edge.
_FEW_SHEETS = 3


class Standing(StrEnum):
    """Where a build stands."""

    INSIDE = "inside"
    EDGE = "edge"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a build does not stand inside; ``severity`` above 1 means outside."""

    field: str
    value: float | str
    low: float | None
    high: float | None
    message: str
    severity: float


def reasons(
    reference: Reference, values: Mapping[str, object], distance: float, apart: Apart | None
) -> list[Reason]:
    """Return why a build does not stand inside: what puts it outside first, single fields first.

    Parameters
    ----------
    reference
        What was tested.
    values
        The build's fields, with ``displacement`` and ``cylinder_displacement``, in³.
    distance
        Its distance to what was tested.
    apart
        Two of its fields that are not found together, if any.

    """
    found = [reason for name in CHOICES for reason in _unseen(reference, name, values.get(name))]
    found += [reason for name in NUMBERS for reason in _beyond(reference, name, values.get(name))]
    found.sort(key=lambda reason: -reason.severity)
    out = {reason.field for reason in found if reason.severity > 1}
    if apart is not None and not out & {apart.field, apart.other}:
        message = f"no sheet comes near to having {apart}, though each was tested with other parts"
        reason = Reason("combination", str(apart), None, None, message, apart.severity)
        found.append(reason)
    if distance > reference.edge:
        message = (
            f"nothing tested is like this combination as a whole: it lies {distance:.2f} from the"
            f" nearest sheets, where tested sheets lie within {reference.outside:.2f}"
        )
        severity = 0.5 if distance <= reference.outside else 1.0 + distance / reference.outside
        reason = Reason("combination", distance, 0.0, reference.outside, message, severity)
        found.append(reason)
    found.sort(key=lambda reason: reason.severity <= 1)  # stable
    return found


def _unseen(reference: Reference, name: str, value: object) -> list[Reason]:
    seen = reference.seen.get(name, {})
    if not isinstance(value, str) or not seen:  # a choice that no sheet gives teaches nothing
        return []
    count = seen.get(value, 0)
    if count >= _FEW_SHEETS:
        return []
    told = ", ".join(seen) or "nothing"
    if count == 0:
        message = f"no sheet has {name} {value}; tested were: {told}"
        return [Reason(name, value, None, None, message, 100.0)]
    message = f"only {count} of the sheets has {name} {value}"
    return [Reason(name, value, None, None, message, 0.5)]


def _beyond(reference: Reference, name: str, value: object) -> list[Reason]:
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or name not in reference.ranges
    ):
        return []
    low, high = reference.ranges[name]
    over = max(low - value, value - high)
    if over <= 1e-9 * max(abs(low), abs(high)):
        return []
    margin = _MARGIN * (high - low) or 0.02 * abs(high)
    side = "below" if value < low else "above"
    message = (
        f"{name} {with_unit(name, value)} lies {side} what was tested, {low:.4g} to"
        f" {with_unit(name, high)}"
    )
    return [Reason(name, float(value), low, high, message, over / margin)]


def standing(found: list[Reason]) -> Standing:
    """Return the standing that the reasons make."""
    if any(reason.severity > 1 for reason in found):
        return Standing.OUTSIDE
    return Standing.EDGE if found else Standing.INSIDE
