"""Limits that hold: thresholds of conformity scores that are clustered by shop.

A new shop is exchangeable with the shops that were held out; its sheets are not exchangeable with
theirs one by one. So every shop weighs the same whatever it contributed, every sheet of a shop the
same and every reading of a sheet the same, and one further shop's weight is laid at infinity
(Lee, Barber and Willett, Distribution-free inference with hierarchical data, 2023; the share of
missed readings of a sheet is controlled as in Angelopoulos et al., Conformal risk control, 2024).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Scores:
    """Conformity scores of held-out sheets.

    Attributes
    ----------
    values
        The scores in rising order; larger is worse.
    mass
        The cumulated weight up to each score; all shops together weigh S / (S + 1).
    shops
        The number S of shops behind the scores.
    """

    values: Floats
    mass: Floats
    shops: int

    def threshold(self, level: float) -> float | None:
        """Return the score that a new value exceeds with probability at most 1 - level.

        ``None`` where the shops are too few for the level: fewer than 1 / (1 - level) - 1.

        Raises
        ------
        ValueError
            The level is not between 0 and 1.

        """
        if not 0 < level < 1:
            msg = f"a level lies between 0 and 1, not at {level}"
            raise ValueError(msg)
        place = int(np.searchsorted(self.mass, level - _ROUNDING))
        return float(self.values[place]) if place < len(self.values) else None

    def level(self, values: Floats) -> Floats:
        """Return the level whose limits would just have held values, shape (values,).

        >>> of_each = np.arange(9)
        >>> shop_scores(np.arange(9.0), of_each, of_each).level(np.array([-1.0, 4.5, 9.0]))
        array([0. , 0.5, 0.9])
        """
        below = np.searchsorted(self.values, values, side="left")
        level: Floats = np.concatenate([[0.0], self.mass])[below]
        return level


def needed_shops(level: float) -> int:
    """Return how many shops a level needs.

    >>> needed_shops(0.9), needed_shops(0.95)
    (9, 19)
    """
    return int(np.ceil(1 / (1 - level) - 1 - 1e-6))


def shop_scores(values: Floats, sheet: Ints, shop_of_sheet: Ints) -> Scores:
    """Return scores in which every shop, and every sheet of a shop, weighs the same.

    Parameters
    ----------
    values
        Scores, shape (values,).
    sheet
        For each score its sheet.
    shop_of_sheet
        For each sheet its shop.

    Examples
    --------
    The 96th of a hundred equal shops bounds 95 %:

    >>> of_each = np.arange(100)
    >>> shop_scores(np.arange(1.0, 101.0), of_each, of_each).threshold(0.95)
    96.0

    """
    sheets = np.unique(sheet)
    per_sheet = np.bincount(sheet)
    per_shop = np.bincount(shop_of_sheet[sheets])
    shops = int(np.count_nonzero(per_shop))
    weight = 1.0 / (per_sheet[sheet] * per_shop[shop_of_sheet[sheet]] * (shops + 1.0))
    order = np.argsort(values, kind="stable")
    return Scores(values[order], np.cumsum(weight[order]), shops)


def thinned(scores: Scores, most: int) -> Scores:
    """Return scores with at most so many steps; thresholds never become smaller."""
    if len(scores.values) <= most:
        return scores
    keep = np.unique(np.linspace(0, len(scores.values) - 1, most).round().astype(int))
    return Scores(scores.values[keep], scores.mass[keep], scores.shops)
