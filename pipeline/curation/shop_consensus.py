"""How high or low each shop reads against the consensus of all shops, with its uncertainty.

The consensus is simple on purpose: a ridge regression of the best mean effective pressure on the
build, without the shop. It is there to find shops that read high or low, not to predict.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullbook.pipeline.features.engineered_features import engineer, numbers
from pullbook.pipeline.physics import engine_quantities
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Number of folds of shops, and the ridge penalty as a share of the number of sheets.
_FOLDS, _PENALTY = 5, 0.35
_RARE = 5
#: A shop is reported if it is this far from the consensus, and by this many standard errors.
_OFF, _ERRORS = 0.03, 2.0
_NEEDED = 30
_HALVINGS = 60


def readings_of_shops(builds: pd.DataFrame, pulls: pd.DataFrame) -> pd.DataFrame:
    """Return how high or low each shop reads against the consensus.

    Parameters
    ----------
    builds, pulls
        Curated tables.

    Returns
    -------
    One row per shop, in the order of first appearance: ``shop``, ``sheets``, ``offset`` (natural
    logarithm; best linear unbiased prediction, so shrunk towards 0) and ``error``, the standard
    error of that prediction. Empty with fewer than 30 sheets or fewer than two shops: too few for
    a consensus.

    """
    shop, codes = pd.factorize(builds["shop"])
    if len(builds) < _NEEDED or len(codes) < 2:
        return pd.DataFrame(columns=["shop", "sheets", "offset", "error"])
    best = pulls.groupby("sheet_id", sort=False)["torque"].quantile(0.9)
    size = np.asarray(engine_quantities.size_of(builds).engine)
    target = np.log(best.reindex(builds["sheet_id"]).to_numpy() / size)
    residual = target - _held_out(_features(builds, size), target, shop)
    part = pd.factorize(builds["shop"] + " " + builds["family"].astype("str"))[0]
    effect = nested(residual, shop, part)
    return pd.DataFrame(
        {
            "shop": codes,
            "sheets": np.bincount(shop),
            "offset": effect.offset,
            "error": effect.error,
        }
    )


class Effect(NamedTuple):
    """How high or low shops read, arrays of shape (shops,).

    Attributes
    ----------
    offset, error
        Shrunk effect of each shop and its standard error.
    apart, noise
        The effect before shrinking, which is the distance to the centre of all shops, and its
        standard error if shops did not differ.
    """

    offset: Floats
    error: Floats
    apart: Floats
    noise: Floats


def nested(residual: Floats, shop: Ints, part: Ints) -> Effect:
    """Return how high or low shops read, if the sheets of one part of a shop share an error.

    The consensus has an error of its own for each family, so ten sheets of one family say less than
    ten sheets of ten families. Variance components of the nested layout by moments (Searle, Casella
    and McCulloch, Variance Components, ch. 5, from memory), that of shops by Paule and Mandel's
    equation (1982, from memory).

    Parameters
    ----------
    residual
        Residual of each sheet on the logarithmic scale, shape (sheets,).
    shop, part
        Number of the shop, and of the part of the shop, of each sheet, from 0, shape (sheets,).

    """
    of_part, of_shop = np.bincount(part), np.bincount(shop)
    owner = np.zeros(len(of_part), dtype=np.int64)
    owner[part] = shop
    part_mean = np.bincount(part, residual) / of_part
    shop_mean = np.bincount(shop, residual) / of_shop
    within = np.sum((residual - part_mean[part]) ** 2) / max(1, len(residual) - len(of_part))
    spare = len(of_part) - len(of_shop)
    parts = 0.0
    if spare > 0:
        between = np.sum(of_part * (part_mean - shop_mean[owner]) ** 2) / spare
        squares = np.bincount(owner, of_part.astype(float) ** 2) / of_shop
        typical = (len(residual) - squares.sum()) / spare
        parts = max(0.0, float(between - within) / typical)
    noise = np.bincount(owner, (of_part / of_shop[owner]) ** 2) * parts + within / of_shop
    among, middle = _paule_mandel(shop_mean, noise)
    share = among / (among + noise)
    apart = shop_mean - middle
    return Effect(share * apart, np.sqrt(share * noise), apart, np.sqrt(noise))


def _paule_mandel(mean: Floats, noise: Floats) -> tuple[float, float]:
    """Return the variance between groups for which their weighted scatter is as expected."""
    low, high = 0.0, 2 * float(np.var(mean)) + 1e-12
    for _ in range(_HALVINGS):
        among = (low + high) / 2
        weight = 1 / (noise + among + 1e-15)
        middle = float(np.sum(weight * mean) / np.sum(weight))
        too_wide = np.sum(weight * (mean - middle) ** 2) > len(mean) - 1
        low, high = (among, high) if too_wide else (low, among)
    return among, middle


def _features(builds: pd.DataFrame, size: Floats) -> Floats:
    """Return standardised columns of the builds; missing values become the mean, with a flag."""
    columns = [np.log(size)]
    for name in ("family", *BUILD_FIELDS):
        column = builds[name]
        given = column.notna().to_numpy()
        if not FIELDS[name].numeric:
            texts = column.astype("str").fillna("")
            counts = texts.value_counts()
            columns += [
                (texts == text).to_numpy(dtype=float)
                for text in counts.index[counts >= _RARE].sort_values()
            ]
        if _RARE <= given.sum() <= len(given) - _RARE:
            columns.append(given.astype(float))
    for number in engineer(numbers(builds)).to_numpy(dtype=float).T:
        given = np.isfinite(number)
        if given.sum() >= _RARE and (scale := float(np.std(number[given]))) > 0:
            standard = np.where(given, (number - np.mean(number[given])) / scale, 0.0)
            columns += [standard, standard**2]
    varying = [_standardise(column) for column in columns if np.ptp(column) > 0]
    return np.column_stack([np.empty((len(builds), 0)), *varying])


def _standardise(column: Floats) -> Floats:
    """Scale a column to mean 0 and standard deviation 1, in place."""
    column -= column.mean()
    column /= column.std()
    return column


def _held_out(matrix: Floats, target: Floats, shop: Ints) -> Floats:
    """Predict each sheet by a ridge regression on other shops.

    The normal equations of the others are those of all minus those of the held-out sheets.
    """
    predicted = np.empty(len(target))
    squares, products, sums = matrix.T @ matrix, matrix.T @ target, matrix.sum(axis=0)
    for fold in range(min(_FOLDS, int(shop.max()) + 1)):
        out = shop % _FOLDS == fold
        own, mean, rest = matrix[out], target[~out].mean(), len(target) - int(out.sum())
        penalty = _PENALTY * rest * np.eye(matrix.shape[1])
        toward = products - own.T @ target[out] - mean * (sums - own.sum(axis=0))
        slope = np.linalg.solve(squares - own.T @ own + penalty, toward)
        predicted[out] = mean + own @ slope
    return predicted


def report_shops(of_shops: pd.DataFrame, builds: pd.DataFrame) -> list[tuple[int, Finding]]:
    """Return a finding for each sheet of a shop that reads high or low, with its index."""
    off = of_shops[
        (of_shops["offset"].abs() > _OFF) & (of_shops["offset"].abs() > _ERRORS * of_shops["error"])
    ]
    messages = {
        shop: (
            f"Shop {shop[:8]} reads {100 * abs(offset):.1f} %"
            f" {'above' if offset > 0 else 'below'} the consensus of all shops"
            f" (+/- {200 * error:.1f} %). Nothing was changed."
        )
        for shop, offset, error in zip(
            off["shop"].tolist(), off["offset"].tolist(), off["error"].tolist(), strict=True
        )
    }
    return [
        (place, Finding("shop-reads-off", messages[shop], "shop"))
        for place, shop in enumerate(builds["shop"])
        if shop in messages
    ]
