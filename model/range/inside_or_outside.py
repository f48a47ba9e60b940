"""Where a build stands to what was tested: inside, at the edge, or outside, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.range.novelty import CHOICES, NUMBERS
from pullbook.model.range.unseen_combinations import with_unit
from pullbook.schemas.answer import Reason, Standing

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import pandas as pd

    from pullbook.model.range.novelty import Floats, Reference
    from pullbook.model.range.unseen_combinations import Apart

#: A value beyond the range by more than this share of it stands outside, by less at the edge.
_MARGIN = 0.10
#: A choice seen on fewer sheets stands at the edge.
_FEW_SHEETS = 3
#: The field of a reason that is of more than one.
COMBINATION = "combination"


def reasons(
    reference: Reference,
    builds: pd.DataFrame,
    sizes: pd.DataFrame,
    distance: Floats,
    apart: Sequence[Apart | None],
) -> list[list[Reason]]:
    """Return why builds do not stand inside: what puts them outside first, single fields first.

    Parameters
    ----------
    reference
        What was tested.
    builds
        Typed builds, as `build_table.typed_builds` gives them.
    sizes
        Their ``displacement`` and ``cylinder_displacement``, in³, in the same order.
    distance
        Of each build to what was tested.
    apart
        Of each build two fields that are not found together, if any.

    """
    found: list[list[Reason]] = [[] for _ in range(len(builds))]
    for name in CHOICES:
        for row, reason in _unseen(reference, name, builds[name]):
            found[row].append(reason)
    for name in NUMBERS:
        values = (sizes if name in sizes else builds)[name].to_numpy(float, na_value=np.nan)
        for row, reason in _beyond(reference, name, values):
            found[row].append(reason)
    for row in np.flatnonzero(distance > reference.edge).tolist():
        found[row].append(_far(reference, float(distance[row])))
    for own, pair in zip(found, apart, strict=True):
        if own or pair is not None:
            _in_order(own, pair)
    return found


def _in_order(found: list[Reason], apart: Apart | None) -> None:
    """Put the reasons of a build in order, and two parts that are not found together among them."""
    combination = [reason for reason in found if reason.field == COMBINATION]
    found[:] = sorted(
        (reason for reason in found if reason.field != COMBINATION),
        key=lambda reason: -reason.severity,
    )
    out = {reason.field for reason in found if reason.severity > 1}
    if apart is not None and not out & {apart.field, apart.other}:
        message = f"no sheet comes near to having {apart}, though each was tested with other parts"
        found.append(Reason(COMBINATION, str(apart), None, None, message, apart.severity))
    found += combination
    found.sort(key=lambda reason: reason.severity <= 1)  # stable


def _far(reference: Reference, distance: float) -> Reason:
    message = (
        f"nothing tested is like this combination as a whole: it lies {distance:.2f} from the"
        f" nearest sheets, where tested sheets lie within {reference.outside:.2f}"
    )
    severity = 0.5 if distance <= reference.outside else 1.0 + distance / reference.outside
    return Reason(COMBINATION, distance, 0.0, reference.outside, message, severity)


def _unseen(reference: Reference, name: str, values: pd.Series) -> Iterator[tuple[int, Reason]]:
    seen = reference.seen.get(name, {})
    if not seen:  # a choice that no sheet gives teaches nothing
        return
    known = [choice for choice, count in seen.items() if count >= _FEW_SHEETS]
    rows = np.flatnonzero((values.notna() & ~values.isin(known)).to_numpy(dtype=bool))
    for row in rows.tolist():
        value = str(values.iloc[row])
        count = seen.get(value, 0)
        if count == 0:
            message = f"no sheet has {name} {value}; tested were: {', '.join(seen)}"
            yield row, Reason(name, value, None, None, message, 100.0)
        else:
            message = f"only {count} of the sheets has {name} {value}"
            yield row, Reason(name, value, None, None, message, 0.5)


def _beyond(reference: Reference, name: str, values: Floats) -> Iterator[tuple[int, Reason]]:
    if name not in reference.ranges:
        return
    low, high = reference.ranges[name]
    over = np.maximum(low - values, values - high)
    margin = _MARGIN * (high - low) or 0.02 * abs(high)
    for row in np.flatnonzero(over > 1e-9 * max(abs(low), abs(high))).tolist():
        value = float(values[row])
        side = "below" if value < low else "above"
        message = (
            f"{name} {with_unit(name, value)} lies {side} what was tested, {low:.4g} to"
            f" {with_unit(name, high)}"
        )
        yield row, Reason(name, value, low, high, message, float(over[row]) / margin)


def standing(found: list[Reason]) -> Standing:
    """Return the standing that the reasons make."""
    if any(reason.severity > 1 for reason in found):
        return Standing.OUTSIDE
    return Standing.EDGE if found else Standing.INSIDE
