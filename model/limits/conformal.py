"""Conformal limits: thresholds of conformity scores that come in groups: of shops, or of engines.

A new shop is exchangeable with the held-out shops, but its sheets are not exchangeable with single
sheets of theirs; nor are those of a new engine with the sheets of other engines. So every group has
the same weight however many sheets it has, every sheet of a group the same, and every reading of a
sheet the same; the weight of one more group is put at infinity
(Lee, Barber and Willett, Distribution-free inference with hierarchical data, 2023; the share of
missed readings of a sheet is controlled as in Angelopoulos et al., Conformal risk control, 2024).
Where that promises less than leaving each group out in turn shows, what is shown counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_ROUNDING = 1e-9
#: With fewer groups than this no limits are given.
FEWEST = 5


@dataclass(frozen=True, slots=True)
class Scores:
    """Conformity scores of held-out sheets.

    Attributes
    ----------
    values
        The scores in rising order; larger is worse.
    mass
        Cumulative weight up to each score; all groups together have n / (n + 1).
    groups
        The number n of groups behind the scores.
    """

    values: Floats
    mass: Floats
    groups: int

    def kept(self, level: float) -> float | None:
        """Return the level that limits can keep: the one asked, or n / (n + 1) if that is lower.

        ``None`` below `FEWEST` groups.
        """
        return None if self.groups < FEWEST else min(level, self.groups / (self.groups + 1))

    def factor(self, level: float) -> float | None:
        """Return the threshold at the level that limits can keep; ``None`` without limits."""
        kept = self.kept(level)
        return None if kept is None else self.threshold(kept)

    def threshold(self, level: float) -> float | None:
        """Return the score that a new value exceeds with probability at most 1 - level.

        ``None`` if there are too few groups for the level: fewer than 1 / (1 - level) - 1.

        Raises
        ------
        ValueError
            The level is not between 0 and 1.

        """
        if not 0 < level < 1:
            msg = f"the level is {level}; it must be between 0 and 1, such as 0.9"
            raise ValueError(msg)
        place = int(np.searchsorted(self.mass, level - _ROUNDING))
        if self.groups < needed_groups(level):
            return None
        return float(self.values[place]) if place < len(self.values) else None

    def level(self, values: Floats) -> Floats:
        """Return the level whose limits would just include each value, shape (values,).

        >>> of_each = np.arange(9)
        >>> group_scores(np.arange(9.0), of_each, of_each).level(np.array([-1.0, 4.5, 9.0]))
        array([0. , 0.5, 0.9])
        """
        below = np.searchsorted(self.values, values, side="left")
        level: Floats = np.concatenate([[0.0], self.mass])[below]
        return level


def needed_groups(level: float) -> int:
    """Return the number of groups that a level needs.

    >>> needed_groups(0.9), needed_groups(0.95)
    (9, 19)
    """
    return int(np.ceil(1 / (1 - level) - 1 - 1e-6))


def group_scores(values: Floats, sheet: Ints, group_of_sheet: Ints) -> Scores:
    """Return scores in which every group, and every sheet of a group, has the same weight.

    Parameters
    ----------
    values
        Scores, shape (values,).
    sheet
        Sheet of each score.
    group_of_sheet
        Group of each sheet: its shop, or its engine.

    Examples
    --------
    The 96th of 100 equal groups is the threshold at 95 %:

    >>> of_each = np.arange(100)
    >>> group_scores(np.arange(1.0, 101.0), of_each, of_each).threshold(0.95)
    96.0

    """
    sheets = np.unique(sheet)
    per_sheet = np.bincount(sheet)
    per_group = np.bincount(group_of_sheet[sheets])
    groups = int(np.count_nonzero(per_group))
    weight = 1.0 / (per_sheet[sheet] * per_group[group_of_sheet[sheet]] * (groups + 1.0))
    order = np.argsort(values, kind="stable")
    mass = np.cumsum(weight[order])
    if groups < 2:
        return Scores(values[order], mass, groups)
    group = np.unique(group_of_sheet[sheet[order]], return_inverse=True)[1]
    return Scores(values[order], np.maximum(mass, _held(weight[order], group, groups)), groups)


def _held(weight: NDArray[np.floating], group: Ints, groups: int) -> Floats:
    """Return which share of a group left out each threshold would hold, on average.

    The theorem counts one more group as missing altogether, though of the many readings of a group
    only some miss. So each group in turn is left out, the threshold is taken anew at the same share
    of the others, between two scores in proportion, and what it holds of the group is counted. For
    groups of one score this is the theorem's share, and with many scores it is less cautious.

    Parameters
    ----------
    weight, group
        Weight of the scores in rising order, and the group of each.
    groups
        Number of groups.

    """
    share = np.cumsum(weight)
    share /= share[-1]
    held: Floats = np.zeros(len(weight))
    for number in range(groups):
        own = group == number
        others = np.cumsum(weight[~own])
        inside = np.cumsum(np.where(own, weight, 0.0))
        held += np.interp(share, others / others[-1], inside[~own] / inside[-1])
    return np.maximum.accumulate(held / groups)


def counted_as(scores: Scores, groups: int) -> Scores:
    """Return scores whose groups count for fewer, since they are not independent."""
    share = (groups / (groups + 1)) / (scores.groups / (scores.groups + 1))
    return Scores(scores.values, scores.mass * share, groups)


def thinned(scores: Scores, most: int) -> Scores:
    """Return scores with at most ``most`` steps; no threshold becomes smaller."""
    if len(scores.values) <= most:
        return scores
    keep = np.unique(np.linspace(0, len(scores.values) - 1, most).round().astype(int))
    return Scores(scores.values[keep], scores.mass[keep], scores.groups)
