"""Whether a build is inside, at the edge of or outside the tested data, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.range.novelty import CHOICES, EDGE_SHARE, NUMBERS, OUTSIDE_SHARE
from pullbook.schemas.field_words import Described, Range, digits_that_differ
from pullbook.schemas.standing import Reason, Standing

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import pandas as pd

    from pullbook.model.range.novelty import Floats, Reference
    from pullbook.model.range.unseen_combinations import UnseenPair

#: A choice seen on fewer sheets is at the edge.
_FEW_SHEETS = 3
#: The field of a reason that is about more than one.
COMBINATION = "combination"


def reasons(
    reference: Reference,
    builds: pd.DataFrame,
    sizes: pd.DataFrame,
    distance: Floats,
    unseen: Sequence[UnseenPair | None],
) -> list[list[Reason]]:
    """Return why builds are not inside the data: what puts them outside first, fields first.

    Parameters
    ----------
    reference
        The tested data.
    builds
        Typed builds, as `build_table.typed_builds` returns them.
    sizes
        Their ``displacement`` and ``cylinder_displacement``, in³, in the same order.
    distance
        Distance of each build to the tested data.
    unseen
        For each build two parts that were never tested together, if any.

    """
    found: list[list[Reason]] = [[] for _ in range(len(builds))]
    for name in CHOICES:
        for row, reason in _unseen_choices(reference, name, builds[name]):
            found[row].append(reason)
    for name in NUMBERS:
        values = (sizes if name in sizes else builds)[name].to_numpy(float, na_value=np.nan)
        for row, reason in _out_of_range(reference, name, values):
            found[row].append(reason)
    for row in np.flatnonzero(distance > reference.edge).tolist():
        found[row].append(_far_from_all(reference, float(distance[row])))
    for of_build, pair in zip(found, unseen, strict=True):
        if of_build or pair is not None:
            _sort_reasons(of_build, pair)
    return found


def _sort_reasons(found: list[Reason], pair: UnseenPair | None) -> None:
    """Sort the reasons of a build, and put the pair never tested together in its place."""
    combination = [reason for reason in found if reason.field == COMBINATION]
    found[:] = sorted(
        (reason for reason in found if reason.field != COMBINATION),
        key=lambda reason: -reason.severity,
    )
    out = {reason.field for reason in found if reason.outside}
    if pair is not None and not out & {pair.field, pair.other}:
        found.append(_unseen_pair(pair))
    found += combination
    found.sort(key=lambda reason: not reason.outside)  # stable


def _unseen_pair(pair: UnseenPair) -> Reason:
    return Reason(
        COMBINATION, str(pair), None, None, pair.severity,
        "{} and {} were never tested together",
        (Described(pair.field, pair.value), Described(pair.other, pair.other_value)),
    )  # fmt: skip


def _far_from_all(reference: Reference, distance: float) -> Reason:
    if distance <= reference.outside:
        severity, limit, share = 0.5, reference.edge, EDGE_SHARE
        wording = "few tested builds are like this one as a whole"
    else:
        severity = 1.0 + distance / reference.outside
        limit, share = reference.outside, OUTSIDE_SHARE
        wording = "no tested build is like this one as a whole"
    digits = next((n for n in range(2, 9) if round(distance, n) != round(limit, n)), 9)
    wording += (
        f" (distance {distance:.{digits}f}; {100 * share:.0f} % of the tested builds come within"
        f" {limit:.{digits}f} of another)"
    )
    return Reason(COMBINATION, distance, 0.0, reference.outside, severity, wording)


def _unseen_choices(
    reference: Reference, name: str, values: pd.Series
) -> Iterator[tuple[int, Reason]]:
    seen = reference.seen.get(name, {})
    if not seen:  # no sheet gives this field, so nothing is known about it
        return
    known = [choice for choice, count in seen.items() if count >= _FEW_SHEETS]
    rows = np.flatnonzero((values.notna() & ~values.isin(known)).to_numpy(dtype=bool))
    for row in rows.tolist():
        value = str(values.iloc[row])
        count = seen.get(value, 0)
        if count == 0:
            severity, wording = 100.0, f"{{}} was never tested (tested: {', '.join(seen)})"
        else:
            severity = 0.5
            wording = f"{{}} was tested on only {count} sheet{'s' if count > 1 else ''}"
        yield row, Reason(name, value, None, None, severity, wording, (Described(name, value),))


def _out_of_range(reference: Reference, name: str, values: Floats) -> Iterator[tuple[int, Reason]]:
    if name not in reference.ranges:
        return
    low, high = reference.ranges[name]
    over = np.maximum(low - values, values - high)
    margin = reference.margin * (high - low) or 0.02 * abs(high)
    for row in np.flatnonzero(over > 1e-9 * max(abs(low), abs(high))).tolist():
        value, severity = float(values[row]), float(over[row]) / margin
        side, limit = ("below", low) if value < low else ("above", high)
        just = "" if severity > 1 else "just "
        tested = "the tested range," if low < high else "the only value tested,"
        digits = digits_that_differ(value, limit)
        yield row, Reason(
            name, value, low, high, severity, f"{{}} is {just}{side} {tested} {{}}",
            (Described(name, value, digits), Range(name, low, high, digits)),
        )  # fmt: skip


def standing(found: list[Reason]) -> Standing:
    """Return the standing that follows from the reasons."""
    if any(reason.outside for reason in found):
        return Standing.OUTSIDE
    return Standing.EDGE if found else Standing.INSIDE
