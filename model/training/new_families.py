"""Sheets predicted without their engine family, and without their shop as well.

What is asked about a family that the data has never seen is asked by a shop that the data mostly
has not seen either. Leaving out every couple of a family and a shop would take a model for each, so
with each part of the families some of their shops are left out, and only their sheets are scored.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.model.limits import known_shops
from pullbook.model.limits.conformal import FEWEST
from pullbook.model.training import hold_out

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    from pullbook.model.learning.curve_model import CurveModel
    from pullbook.model.learning.sample import Floats, Ints, Sample

#: Parts that the families are left out in, and the share of a family's shops that goes with them.
_PARTS, _SHOPS = 6, 0.3
#: Fewest sheets to learn from beside what is left out.
_FEWEST_LEFT = 20


class Unfamiliar(NamedTuple):
    """Sheets predicted by a model that knows neither their family nor their shop.

    Attributes
    ----------
    sheets
        Their positions.
    curves
        Predicted curves on the grid, shape (these sheets, speeds).
    offset
        Offset of each one's shop, from its sheets of other families; 0 without any.
    """

    sheets: Ints
    curves: Floats
    offset: Floats


class Groups(NamedTuple):
    """Number of the shop and of the engine family of each sheet, and which sheets name theirs."""

    shop: Ints
    family: Ints
    named: NDArray[np.bool_]


def predict_unfamiliar(
    sample: Sample,
    groups: Groups,
    fit: Callable[[Sample], CurveModel],
    speeds: Floats,
    spread: tuple[float, float],
    rng: np.random.Generator,
    each: Callable[[Callable[[int], Unfamiliar], Sequence[int]], Iterable[Unfamiliar]],
) -> Unfamiliar | None:
    """Return sheets predicted without their family and shop; ``None`` with too few families.

    Parameters
    ----------
    sample
        The sheets.
    groups
        What they belong to; only sheets that name their family are scored.
    fit
        Fits a curve model to some of the sheets.
    speeds
        The grid of engine speeds.
    spread
        Variance of engines within a shop, and of shops.
    rng
        Random generator.
    each
        Works on the parts, each by its number, and returns what they give.

    """
    shop, family, named = groups
    families = np.unique(family[named])
    if len(families) < FEWEST:
        return None
    number = np.full(len(family), -1)
    number[named] = hold_out.folds(family[named], _PARTS)
    shops_out = [
        np.unique(np.concatenate([_some(shop[named & (family == one)], rng) for one in own]))
        for own in (np.unique(family[number == part]) for part in range(int(number.max()) + 1))
    ]

    def fit_part(part: int) -> Unfamiliar:
        away = np.isin(shop, shops_out[part])
        of_part = np.isin(family, np.unique(family[number == part]))
        keep, asked = ~of_part & ~away, np.flatnonzero(away)
        if keep.sum() < _FEWEST_LEFT:
            return _nothing(speeds)
        curves = fit(sample.part(keep)).curves(sample.table.iloc[asked])
        scored = of_part[asked] & named[asked]
        offset = _offsets(sample, asked, curves, speeds, ~of_part[asked], shop, spread)
        return Unfamiliar(asked[scored], curves[scored], offset[shop[asked][scored]])

    found = list(each(fit_part, range(len(shops_out))))
    whole = Unfamiliar(*(np.concatenate(parts) for parts in zip(*found, strict=True)))
    return whole if len(np.unique(family[whole.sheets])) >= FEWEST else None


def _some(shops: Ints, rng: np.random.Generator) -> Ints:
    """Return some of the shops of a family, at least one."""
    different = np.unique(shops)
    return rng.permutation(different)[: int(np.ceil(_SHOPS * len(different)))]


def _nothing(speeds: Floats) -> Unfamiliar:
    return Unfamiliar(np.zeros(0, dtype=np.int64), np.zeros((0, len(speeds))), np.zeros(0))


def _offsets(
    sample: Sample,
    asked: Ints,
    curves: Floats,
    speeds: Floats,
    others: NDArray[np.bool_],
    shop: Ints,
    spread: tuple[float, float],
) -> Floats:
    """Return the offset of each shop from its sheets of other families, shape (shops,)."""
    some = asked[others]
    if not len(some):
        return np.zeros(int(shop.max()) + 1)
    part = sample.take(some)
    residual = hold_out.residuals(part, curves[others], speeds)
    mean = known_shops.sheet_means(residual, part.sheet, len(part))
    return known_shops.offsets(mean, shop[some], part.engines, spread, int(shop.max()) + 1)[0]
