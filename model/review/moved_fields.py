"""How new sheets differ from earlier ones, field by field.

An engine that stays on the stand gives many sheets with the same bore and heads, so every engine
weighs the same however many sheets it has.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    import pandas as pd

    from pullbook.model.learning.sample import Floats, Ints


#: A field has drifted when its mean moved by this share of its standard deviation, or when this
#: share of its choices, or of the engines that give it, changed. Common practice, no source.
_MOVED, _SHARE = 0.5, 0.25


#: Fewest engines that give a field to judge its drift by.
_FEWEST = 10


class Moved(NamedTuple):
    """How a field of the new sheets differs from the earlier ones.

    Attributes
    ----------
    field
        Its name.
    given_before, given_now
        The share of engines that give it; one gives it in part where some of its sheets do.
    shift
        For a number, how many standard deviations its mean moved; for a choice, the share of
        engines whose choice would have to change. ``None`` with too few engines.
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
    engines = engines_of(fresh), engines_of(earlier)
    found = [
        _moved(name, _Values.of(fresh[name], engines[0]), _Values.of(earlier[name], engines[1]))
        for name in ("family", *BUILD_FIELDS)
    ]
    given = [one for one in found if one.given_before or one.given_now]
    return sorted(given, key=lambda one: (not one.drifted, -(one.shift or 0.0)))


class _Values(NamedTuple):
    """The values of a field where it is given, their weights, and by how many engines."""

    values: pd.Series
    weight: Floats
    engines: int
    given: float

    @classmethod
    def of(cls, column: pd.Series, engine: Ints) -> _Values:
        """Take a field of builds and the number of the engine of each."""
        given = column.notna().to_numpy(dtype=bool)
        own = engine[given]
        weight = 1.0 / np.bincount(own)[own] if len(own) else np.zeros(0)
        sheets = np.bincount(engine)
        share = float(np.sum(1.0 / sheets[own]) / np.count_nonzero(sheets))
        return cls(column[given], weight, len(np.unique(own)), share)


def _moved(name: str, now: _Values, before: _Values) -> Moved:
    numeric = name != "family" and FIELDS[name].numeric
    found = _Shift(None, None, None, 0)
    if now.engines and before.engines:
        found = _number(now, before) if numeric else _choice(now, before)
    enough = min(now.engines, before.engines) >= _FEWEST and name != "family"
    shift = found.shift if enough else None
    far = shift is not None and shift > (_MOVED if numeric else _SHARE)
    drifted = far or abs(now.given - before.given) > _SHARE
    return Moved(
        name, before.given, now.given, shift, found.before, found.now, found.beyond, drifted
    )


class _Shift(NamedTuple):
    shift: float | None
    before: object
    now: object
    beyond: int


def _number(now: _Values, before: _Values) -> _Shift:
    new, old = now.values.to_numpy(float), before.values.to_numpy(float)
    middle = float(np.average(old, weights=before.weight))
    spread = float(np.sqrt(np.average((old - middle) ** 2, weights=before.weight)))
    spread = spread or float(np.abs(old).max()) * 0.01 or 1.0
    beyond = int(((new < old.min()) | (new > old.max())).sum())
    shift = abs(float(np.average(new, weights=now.weight)) - middle) / spread
    return _Shift(shift, float(np.median(old)), float(np.median(new)), beyond)


def _choice(now: _Values, before: _Values) -> _Shift:
    new, old = (_shares(one) for one in (now, before))
    changed = sum(abs(new.get(name, 0.0) - old.get(name, 0.0)) for name in {*new, *old}) / 2
    beyond = int((~now.values.astype("str").isin(list(old))).sum())
    return _Shift(changed, _most(old), _most(new), beyond)


def _shares(given: _Values) -> dict[str, float]:
    """Return the share of the engines that has each choice."""
    names = given.values.astype("str").to_numpy()
    share = given.weight / given.weight.sum()
    return {str(name): float(share[names == name].sum()) for name in np.unique(names)}


def _most(shares: dict[str, float]) -> str:
    return max(sorted(shares), key=shares.__getitem__)
