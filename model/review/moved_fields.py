"""How new sheets differ from earlier ones, field by field."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    pass


#: A field has drifted when its mean moved by this share of its standard deviation, or when this
#: share of its choices, or of the sheets that give it, changed. Common practice, no source.
_MOVED, _SHARE = 0.5, 0.25


#: Fewest new values of a field to judge its drift by.
FEWEST = 10


class Moved(NamedTuple):
    """How a field of the new sheets differs from the earlier ones.

    Attributes
    ----------
    field
        Its name.
    given_before, given_now
        The share of sheets that give it.
    shift
        For a number, how many standard deviations its mean moved; for a choice, the share of sheets
        whose choice would have to change. ``None`` with too few values.
    before, now
        Median of a number, or the most frequent choice.
    beyond
        Number of new sheets beyond the earlier range, or with a choice that is new.
    drifted
        Whether the field has drifted.
    """

    field: str
    given_before: float
    given_now: float
    shift: float | None
    before: object
    now: object
    beyond: int
    drifted: bool


def moved(fresh: pd.DataFrame, earlier: pd.DataFrame) -> list[Moved]:
    """Return how each field of a build moved between two sets of builds, the furthest first."""
    found = [_moved(name, fresh[name], earlier[name]) for name in ("family", *BUILD_FIELDS)]
    given = [one for one in found if one.given_before or one.given_now]
    return sorted(given, key=lambda one: (not one.drifted, -(one.shift or 0.0)))


def _moved(name: str, now: pd.Series, before: pd.Series) -> Moved:
    given = float(before.notna().mean()), float(now.notna().mean())
    now, before = now.dropna(), before.dropna()
    numeric = name != "family" and FIELDS[name].numeric
    found = _Shift(None, None, None, 0)
    if len(now) and len(before):
        found = _number(now, before) if numeric else _choice(now, before)
    enough = min(len(now), len(before)) >= FEWEST and name != "family"
    shift = found.shift if enough else None
    far = shift is not None and shift > (_MOVED if numeric else _SHARE)
    drifted = far or abs(given[1] - given[0]) > _SHARE
    return Moved(name, *given, shift, found.before, found.now, found.beyond, drifted)


class _Shift(NamedTuple):
    shift: float | None
    before: object
    now: object
    beyond: int


def _number(now: pd.Series, before: pd.Series) -> _Shift:
    new, old = now.to_numpy(float), before.to_numpy(float)
    spread = float(np.std(old)) or float(np.abs(old).max()) * 0.01 or 1.0
    beyond = int(((new < old.min()) | (new > old.max())).sum())
    shift = abs(float(new.mean() - old.mean())) / spread
    return _Shift(shift, float(np.median(old)), float(np.median(new)), beyond)


def _choice(now: pd.Series, before: pd.Series) -> _Shift:
    new, old = (one.astype("str").value_counts(normalize=True) for one in (now, before))
    union = new.index.union(old.index)
    both = (one.reindex(union, fill_value=0.0).to_numpy(float) for one in (new, old))
    changed = float(np.abs(np.subtract(*both)).sum()) / 2
    beyond = int((~now.astype("str").isin(old.index)).sum())
    return _Shift(changed, str(old.index[0]), str(new.index[0]), beyond)
