"""The offset of a known shop from the model, shrunk towards zero."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Ints


def sheet_means(residual: Floats, sheet: Ints, sheets: int) -> Floats:
    """Return the mean residual of each sheet, shape (sheets,)."""
    return np.bincount(sheet, residual, sheets) / np.bincount(sheet, minlength=sheets)


def variances(mean: Floats, shop: Ints, engine: Ints) -> tuple[float, float]:
    """Return the variance of engines within a shop, and of shops.

    The sheets of one engine err together, so an engine counts once, by the mean of its sheets.
    Moments of the one-way random-effects layout (Searle, Casella and McCulloch, Variance
    Components, ch. 3, from memory); the second is 0 if shops differ no more than engines do.

    Parameters
    ----------
    mean
        Mean residual of each sheet, on the logarithmic scale.
    shop, engine
        Number of the shop and of the engine of each sheet; an engine is of one shop.

    """
    value, home, _ = _by_engine(mean, shop, engine)
    home = np.unique(home, return_inverse=True)[1]
    count = np.bincount(home).astype(float)
    centers = np.bincount(home, value) / count
    spare = len(value) - len(count)
    within = float(np.sum((value - centers[home]) ** 2) / spare) if spare > 0 else 0.0
    if len(count) < 2:
        return within, 0.0
    typical = (len(value) - np.sum(count**2) / len(value)) / (len(count) - 1)
    grand = float(np.mean(value))
    among = float(np.sum(count * (centers - grand) ** 2) / (len(count) - 1))
    return within, max(0.0, (among - within) / typical)


def offsets(
    mean: Floats, shop: Ints, engine: Ints, spread: tuple[float, float], shops: int
) -> tuple[Floats, Floats]:
    """Return the offset of each shop, and for each sheet that of its shop without its engine.

    Parameters
    ----------
    mean, shop, engine
        As for `variances`.
    spread
        Its two variances.
    shops
        Number of shops.

    Returns
    -------
    Best linear unbiased predictions, shape (shops,) and (sheets,).

    """
    within, among = spread
    if among == 0.0:
        return np.zeros(shops), np.zeros(len(mean))
    value, home, of = _by_engine(mean, shop, engine)
    count = np.bincount(home, minlength=shops).astype(float)
    total = np.bincount(home, value, shops)
    ratio = within / among
    others = count[shop] - 1
    rest = total[shop] - value[of]
    without = np.where(others > 0, rest / np.maximum(others + ratio, 1e-12), 0.0)
    return total / np.maximum(count + ratio, 1e-12), without


def _by_engine(mean: Floats, shop: Ints, engine: Ints) -> tuple[Floats, Ints, Ints]:
    """Return mean and shop of each engine, and the place of each sheet's engine among them."""
    _, first, of = np.unique(engine, return_index=True, return_inverse=True)
    return np.bincount(of, mean) / np.bincount(of), shop[first], of
