"""The offset of a known shop from the model, shrunk towards zero."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Ints


def sheet_means(residual: Floats, sheet: Ints, sheets: int) -> Floats:
    """Return the mean residual of each sheet, shape (sheets,)."""
    return np.bincount(sheet, residual, sheets) / np.bincount(sheet, minlength=sheets)


def variances(mean: Floats, shop: Ints) -> tuple[float, float]:
    """Return the variance of sheets within a shop, and of shops.

    Moments of the one-way random-effects layout (Searle, Casella and McCulloch, Variance
    Components, ch. 3, from memory); the second is 0 if shops differ no more than sheets do.
    """
    count = np.bincount(shop).astype(float)
    centers = np.bincount(shop, mean) / count
    spare = len(mean) - len(count)
    within = float(np.sum((mean - centers[shop]) ** 2) / spare) if spare > 0 else 0.0
    if len(count) < 2:
        return within, 0.0
    typical = (len(mean) - np.sum(count**2) / len(mean)) / (len(count) - 1)
    grand = float(np.mean(mean))
    among = float(np.sum(count * (centers - grand) ** 2) / (len(count) - 1))
    return within, max(0.0, (among - within) / typical)


def offsets(mean: Floats, shop: Ints) -> tuple[Floats, Floats]:
    """Return the offset of each shop, and for each sheet that of its shop without the sheet.

    Parameters
    ----------
    mean
        Mean residual of each sheet, on the logarithmic scale.
    shop
        Number of the shop of each sheet, from 0.

    Returns
    -------
    Best linear unbiased predictions, shape (shops,) and (sheets,).

    """
    within, among = variances(mean, shop)
    count = np.bincount(shop).astype(float)
    total = np.bincount(shop, mean)
    if among == 0.0:
        return np.zeros(len(count)), np.zeros(len(mean))
    ratio = within / among
    of_shop = total / (count + ratio)
    others = count[shop] - 1
    without = np.where(others > 0, (total[shop] - mean) / np.maximum(others + ratio, 1e-12), 0.0)
    return of_shop, without
