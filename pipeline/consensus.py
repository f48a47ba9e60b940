"""How each shop reads against the consensus of all: a shrunken estimate with its uncertainty.

The consensus is plain on purpose: a ridge regression of the best mean effective pressure on what
was built, told of no shop. It is there to find a shop that reads high or low, not to predict.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import engine, shops
from schemas.fields import BUILD_FIELDS, FIELDS, Kind
from schemas.findings import Finding

if TYPE_CHECKING:
    Floats = NDArray[np.float64]

_FOLDS, _PENALTY = 5, 3.0
_RARE = 5
#: A shop reads off when it is this far from the consensus, and by so many standard errors.
_OFF, _ERRORS = 0.035, 2.0
_NEEDED = 30


def readings_of_shops(builds: pd.DataFrame, pulls: pd.DataFrame) -> pd.DataFrame:
    """Return how each shop reads against the consensus.

    Parameters
    ----------
    builds, pulls
        Curated tables.

    Returns
    -------
    A row a shop, in the order of first appearance: ``shop``, ``sheets``, ``offset`` (natural
    logarithm; best linear unbiased prediction, so shrunk towards none) and ``error``, the standard
    error of that prediction. Empty with fewer than 30 sheets or two shops, which agree on nothing.

    """
    shop, codes = pd.factorize(builds["shop"])
    columns = ["shop", "sheets", "offset", "error"]
    if len(builds) < _NEEDED or len(codes) < 2:
        return pd.DataFrame(columns=columns)
    best = pulls.groupby("sheet_id", sort=False)["torque"].quantile(0.9)
    bore, stroke, cylinders = (
        builds[name].to_numpy(dtype=float) for name in ("bore", "stroke", "cylinders")
    )
    size = np.asarray(engine.displacement(bore, stroke, cylinders))
    target = np.log(best.reindex(builds["sheet_id"]).to_numpy() / size)
    residual = target - _held_out(_features(builds, size), target, shop)
    offset, _ = shops.offsets(residual, shop)
    error = shops.errors(residual, shop)
    return pd.DataFrame(
        {"shop": codes, "sheets": np.bincount(shop), "offset": offset, "error": error}
    )


def _features(builds: pd.DataFrame, size: Floats) -> Floats:
    """Return standardised columns of what was built; what is missing is the mean, and marked."""
    columns = [np.log(size)]
    for name in BUILD_FIELDS:
        field, column = FIELDS[name], builds[name]
        given = column.notna().to_numpy()
        if field.numeric and given.sum() >= _RARE:
            number = column.astype("float64").to_numpy(na_value=np.nan)
            number = np.where(given, number, np.nanmean(number))
            columns += [number, (number - number.mean()) ** 2]
        elif field.kind in (Kind.CHOICE, Kind.FLAG):
            texts = column.astype("str").fillna("")
            counts = texts.value_counts()
            columns += [
                (texts == text).to_numpy(dtype=float)
                for text in counts.index[counts >= _RARE].sort_values()
            ]
        if _RARE <= given.sum() <= len(given) - _RARE:
            columns.append(given.astype(float))
    matrix = np.column_stack(columns)
    matrix = matrix - matrix.mean(axis=0)
    scale = matrix.std(axis=0)
    standard: Floats = matrix[:, scale > 0] / scale[scale > 0]
    return standard


def _held_out(matrix: Floats, target: Floats, shop: NDArray[np.int64]) -> Floats:
    """Return what a ridge regression on other shops says of each sheet."""
    said = np.empty(len(target))
    for fold in range(min(_FOLDS, int(shop.max()) + 1)):
        out = shop % _FOLDS == fold
        rest, mean = matrix[~out], target[~out].mean()
        penalty = _PENALTY * np.eye(matrix.shape[1])
        slope = np.linalg.solve(rest.T @ rest + penalty, rest.T @ (target[~out] - mean))
        said[out] = mean + matrix[out] @ slope
    return said


def told(of_shops: pd.DataFrame, builds: pd.DataFrame) -> list[tuple[int, Finding]]:
    """Return findings of the sheets of shops that read off, with the place of the sheet."""
    off = of_shops[
        (of_shops["offset"].abs() > _OFF) & (of_shops["offset"].abs() > _ERRORS * of_shops["error"])
    ]
    messages = {
        shop: (
            f"shop {shop[:8]} reads {100 * abs(offset):.1f} %"
            f" {'above' if offset > 0 else 'below'} the consensus, give or take"
            f" {200 * error:.1f}; nothing was changed"
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
