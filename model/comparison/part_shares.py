"""The share of each group of parts in the difference of two builds.

The groups of parts of one build are put into the other one after another, and the change that each
makes to the predicted curve is averaged over every order (Shapley, A value for n-person games,
1953, from memory). In every order the changes sum to the whole difference, and so do their means.
"""

from __future__ import annotations

from itertools import combinations
from math import comb
from typing import TYPE_CHECKING

import numpy as np

from pullbook.schemas.part_groups import GROUPS

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pullbook.model.learning.sample import Floats


def put_in(base: pd.DataFrame, build: pd.DataFrame, groups: Sequence[str]) -> pd.DataFrame:
    """Return a build with every set of groups of parts of another put in, a row a set.

    Parameters
    ----------
    base, build
        Typed builds, tables with one row each.
    groups
        Names of the groups, of `part_groups.GROUPS`.

    Returns
    -------
    The first row is the base, the last has all groups of the other.

    """
    states = _states(len(groups))
    rows = base.loc[base.index.repeat(len(states))].reset_index(drop=True)
    for number, group in enumerate(groups):
        inside = np.array([number in state for state in states])
        for name in GROUPS[group]:
            given = build[name].repeat(len(states)).reset_index(drop=True)
            rows[name] = rows[name].where(~inside, given)
    return rows.astype(build.dtypes.to_dict())


def _states(groups: int) -> list[frozenset[int]]:
    """Return every set of groups, by number; the empty one first and the full one last."""
    every = range(groups)
    return [frozenset(s) for size in range(groups + 1) for s in combinations(every, size)]


def shares(torque: Floats, groups: Sequence[str]) -> dict[str, Floats]:
    """Return what each group adds to the base.

    Parameters
    ----------
    torque
        Torque of the rows of `put_in`, shape (sets, ...).
    groups
        Names of the groups.

    Returns
    -------
    By group, shape (...); they sum to the last row less the first.

    """
    states = _states(len(groups))
    of = dict(zip(states, torque, strict=True))
    parts = {name: np.zeros(torque.shape[1:]) for name in groups}
    for state in states[:-1]:
        # The share of orders in which this set comes first and one given group next.
        share = 1 / (len(groups) * comb(len(groups) - 1, len(state)))
        for number in states[-1] - state:
            parts[groups[number]] += share * (of[state | {number}] - of[state])
    return parts
