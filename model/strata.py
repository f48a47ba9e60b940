"""Where limits hold and where they do not: coverage by kind of sheet, with its own uncertainty.

Everything is resampled by shop (a cluster bootstrap): sheets of one shop are not independent, and
an interval that took them for it would flatter.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from model.evaluate import Evaluation

    Floats = NDArray[np.float64]

_TIMES = 2000
_SEED = 1
_TAILS = (0.05, 0.95)


def table(found: Evaluation, level: float) -> pd.DataFrame:
    """Return error and coverage by kind of sheet.

    Parameters
    ----------
    found
        What was found on shops that were held out.
    level
        Of the limits.

    Returns
    -------
    A row a stratum: ``by``, ``stratum``, ``sheets``, ``shops``, ``error`` (root mean square, % of
    torque), ``inside`` (share of readings, shops weighing the same), ``low`` and ``high`` (90 %
    limits of it, over shops) and ``width`` (median width of the limits, % of torque).

    """
    readings = found.readings.merge(
        found.sheets[["sheet_id", "standing", "distance", "given"]], on="sheet_id"
    )
    ranges = readings.groupby("sheet_id")["rpm"]
    low, high = ranges.transform("min"), ranges.transform("max")
    share = (readings["rpm"] - low) / (high - low).where(high > low, 1.0)
    strata = {
        "all": pd.Series("all", index=readings.index),
        "part of the sweep": pd.cut(
            share, [-1, 1 / 3, 2 / 3, 2], labels=["bottom third", "middle third", "top third"]
        ),
        "where it stands": readings["standing"],
        "distance to the data": _fifths(readings["distance"]),
        "fields given": _fifths(readings["given"]),
    }
    rows = []
    for by, labels in strata.items():
        for label, own in readings.groupby(labels.astype(str), sort=True):
            rows.append({"by": by, "stratum": label, **_row(own, level)})
    return pd.DataFrame(rows)


def _fifths(values: pd.Series) -> pd.Series:
    edges = np.unique(np.quantile(values, [0.2, 0.4, 0.6, 0.8]))
    place = np.searchsorted(edges, values, side="right")
    bounds = [f"{edge:.3g}" for edge in edges]
    names = [f"1: below {bounds[0]}"]
    between = enumerate(pairwise(bounds), start=2)
    names += [f"{number}: {low} to {high}" for number, (low, high) in between]
    names.append(f"{len(bounds) + 1}: from {bounds[-1]}")
    return pd.Series(np.array(names)[place], index=values.index)


def _row(own: pd.DataFrame, level: float) -> dict[str, object]:
    error = 100 * (own["predicted"] / own["measured"] - 1)
    of_sheet = (error**2).groupby(own["sheet_id"]).mean()
    row: dict[str, object] = {
        "sheets": own["sheet_id"].nunique(),
        "shops": own["shop"].nunique(),
        "error": float(np.sqrt(of_sheet.mean())),
    }
    if own[f"inside_{level}"].isna().any():
        return {**row, "inside": None, "low": None, "high": None, "width": None}
    by_sheet = own.groupby(["shop", "sheet_id"])[f"inside_{level}"].mean()
    shops = by_sheet.groupby("shop").mean().to_numpy()
    low, high = limits(shops)
    width = 100 * float(own[f"width_{level}"].median())
    return {**row, "inside": float(shops.mean()), "low": low, "high": high, "width": width}


def limits(shops: Floats) -> tuple[float, float]:
    """Return 90 % limits of the mean over shops, by the bootstrap.

    >>> limits(np.full(20, 0.9))
    (0.9, 0.9)
    """
    rng = np.random.default_rng(_SEED)
    means = rng.choice(shops, (_TIMES, len(shops))).mean(axis=1)
    low, high = np.quantile(means, _TAILS).tolist()
    return round(low, 6), round(high, 6)


def gain(found: Evaluation, rule: str) -> tuple[float, float, float]:
    """Return how much less the model errs than a rule of thumb, with 90 % limits over shops.

    Root mean square of the relative error, %: the rule's less the model's. Shops are resampled, the
    two always together.
    """
    readings = found.readings
    square = {
        name: (100 * (readings[name] / readings["measured"] - 1)) ** 2
        for name in ("predicted", rule)
    }
    of_sheet = pd.DataFrame(square).groupby([readings["shop"], readings["sheet_id"]]).mean()
    sums = of_sheet.groupby("shop").sum().to_numpy()
    counts = of_sheet.groupby("shop").size().to_numpy()
    rng = np.random.default_rng(_SEED)
    draws = rng.integers(0, len(counts), (_TIMES, len(counts)))
    mean = np.sqrt(sums[draws].sum(axis=1) / counts[draws].sum(axis=1)[:, None])
    apart = mean[:, 1] - mean[:, 0]
    whole = np.sqrt(sums.sum(axis=0) / counts.sum())
    low, high = np.quantile(apart, _TAILS).tolist()
    return float(whole[1] - whole[0]), low, high
