"""Conformal limits: thresholds of conformity scores that are clustered by shop.

A new shop is exchangeable with the held-out shops, but its sheets are not exchangeable with single
sheets of theirs. So every shop has the same weight however much it contributed, every sheet of a
shop the same, and every reading of a sheet the same; the weight of one more shop is put at infinity
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
        Cumulative weight up to each score; all shops together have S / (S + 1).
    shops
        The number S of shops behind the scores.
    """

    values: Floats
    mass: Floats
    shops: int

    def threshold(self, level: float) -> float | None:
        """Return the score that a new value exceeds with probability at most 1 - level.

        ``None`` if there are too few shops for the level: fewer than 1 / (1 - level) - 1.

        Raises
        ------
        ValueError
            The level is not between 0 and 1.

        """
        if not 0 < level < 1:
            msg = f"the level is {level}; it must be between 0 and 1, such as 0.9"
            raise ValueError(msg)
        place = int(np.searchsorted(self.mass, level - _ROUNDING))
        return float(self.values[place]) if place < len(self.values) else None

    def level(self, values: Floats) -> Floats:
        """Return the level whose limits would just include each value, shape (values,).

        >>> of_each = np.arange(9)
        >>> shop_scores(np.arange(9.0), of_each, of_each).level(np.array([-1.0, 4.5, 9.0]))
        array([0. , 0.5, 0.9])
        """
        below = np.searchsorted(self.values, values, side="left")
        level: Floats = np.concatenate([[0.0], self.mass])[below]
        return level


def needed_shops(level: float) -> int:
    """Return the number of shops that a level needs.

    >>> needed_shops(0.9), needed_shops(0.95)
    (9, 19)
    """
    return int(np.ceil(1 / (1 - level) - 1 - 1e-6))


def shop_scores(values: Floats, sheet: Ints, shop_of_sheet: Ints) -> Scores:
    """Return scores in which every shop, and every sheet of a shop, has the same weight.

    Parameters
    ----------
    values
        Scores, shape (values,).
    sheet
        Sheet of each score.
    shop_of_sheet
        Shop of each sheet.

    Examples
    --------
    The 96th of 100 equal shops is the threshold at 95 %:

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
    """Return scores with at most ``most`` steps; no threshold becomes smaller."""
    if len(scores.values) <= most:
        return scores
    keep = np.unique(np.linspace(0, len(scores.values) - 1, most).round().astype(int))
    return Scores(scores.values[keep], scores.mass[keep], scores.shops)
