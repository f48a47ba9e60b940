"""Coverage by kind of sheet, with its uncertainty."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.model.evaluation import bootstrap

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pullbook.model.evaluation.evaluate import Evaluation

    Floats = NDArray[np.float64]

_TENTHS = np.arange(1, 10) / 10


def by_kind(of_readings: pd.DataFrame, of_sheets: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return error and coverage by kind of sheet.

    Parameters
    ----------
    of_readings, of_sheets
        From `prediction_errors.score_predictions`, for held-out shops.
    level
        Level of the limits.

    Returns
    -------
    A row a stratum: ``by``, ``stratum``, ``sheets``, ``shops``, ``error`` (root mean square, % of
    torque), ``inside`` (share of readings, shops of equal weight), ``low`` and ``high`` (its 90 %
    limits over shops) and ``width`` (median width of the limits, % of torque).

    """
    readings = of_readings.merge(
        of_sheets[["sheet_id", "standing", "distance", "given"]], on="sheet_id"
    )
    ranges = readings.groupby("sheet_id")["rpm"]
    low, high = ranges.transform("min"), ranges.transform("max")
    share = (readings["rpm"] - low) / (high - low).where(high > low, 1.0)
    strata = {
        "all": pd.Series("all", index=readings.index),
        "part of the sweep": pd.cut(
            share, [-1, 1 / 3, 2 / 3, 2], labels=["bottom third", "middle third", "top third"]
        ),
        "standing": readings["standing"],
        "distance to the data": _tenths(readings["distance"]),
        "fields given": _tenths(readings["given"]),
    }
    rows = []
    for by, labels in strata.items():
        for label, own in readings.groupby(labels.astype(str), sort=True):
            rows.append({"by": by, "stratum": label, **_row(own, level)})
    return pd.DataFrame(rows)


def regimes(readings: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return error and coverage by whether shop and family were known to the model.

    Parameters
    ----------
    readings
        From `evaluate_regimes.held_out`.
    level
        Level of the limits.

    Returns
    -------
    A table like that of `by_kind`.

    """
    rows = []
    for (shop, family), own in readings.groupby(["shop_is", "family_is"], sort=True):
        label = f"shop {shop}, family {family}"
        rows.append({"by": "regime", "stratum": label, **_row(own, level)})
    return pd.DataFrame(rows)


def pit(readings: pd.DataFrame, bins: int = 10) -> pd.DataFrame:
    """Return the share of measured values in each equal part of the forecast distribution.

    With a calibrated forecast all shares are equal (probability integral transform; Gneiting,
    Balabdaoui and Raftery, Probabilistic forecasts, calibration and sharpness, 2007). Shops have
    equal weight, and so have the sheets of a shop.

    Parameters
    ----------
    readings
        From `prediction_errors.score_predictions`, with limits.
    bins
        Number of parts.

    Returns
    -------
    A row a bin: ``from`` and ``to``, the ``share`` in it, and its 90 % limits over shops, ``low``
    and ``high``.

    """
    edges = np.linspace(0, 1, bins + 1)
    readings = readings.dropna(subset=["pit"]).reset_index(drop=True)
    place = np.clip((readings["pit"].to_numpy(float) * bins).astype(int), 0, bins - 1)
    in_bin = pd.DataFrame(np.eye(bins)[place]).groupby([readings["shop"], readings["sheet_id"]])
    shops = in_bin.mean().groupby("shop").mean().to_numpy()
    rows = []
    for number in range(bins):
        share, low, high = bootstrap.limits(shops[:, number], range(len(shops)), _mean)
        rows.append((edges[number], edges[number + 1], share, low, high))
    return pd.DataFrame(rows, columns=["from", "to", "share", "low", "high"])


def _tenths(values: pd.Series) -> pd.Series:
    edges = np.unique(np.quantile(values, _TENTHS))
    place = np.searchsorted(edges, values, side="right")
    bounds = [f"{edge:.3g}" for edge in edges]
    names = [f" 1: below {bounds[0]}"]
    between = enumerate(pairwise(bounds), start=2)
    names += [f"{number:2}: {low} to {high}" for number, (low, high) in between]
    names.append(f"{len(bounds) + 1:2}: from {bounds[-1]}")
    return pd.Series(np.array(names)[place], index=values.index)


def _row(own: pd.DataFrame, level: float) -> dict[str, object]:
    error = 100 * (own["predicted"] / own["measured"] - 1)
    of_sheet = (error**2).groupby(own["sheet_id"]).mean()
    row: dict[str, object] = {
        "sheets": own["sheet_id"].nunique(),
        "shops": own["shop"].nunique(),
        "error": float(np.sqrt(of_sheet.mean())),
    }
    by_sheet = own.groupby(["shop", "sheet_id"])[f"inside_{level}"].mean().dropna()
    if by_sheet.empty:
        return {**row, "inside": None, "low": None, "high": None, "width": None}
    shops = by_sheet.groupby("shop").mean().to_numpy()
    inside, low, high = bootstrap.limits(shops, range(len(shops)), _mean)
    width = 100 * float(own[f"width_{level}"].median())
    return {**row, "inside": inside, "low": low, "high": high, "width": width}


def gain(found: Evaluation, rule: str) -> tuple[float, float, float]:
    """Return how much smaller the model's error is than a rule of thumb's, with 90 % limits.

    Root mean square of the relative error, %: the rule's minus the model's. Shops are resampled,
    the same ones for both.
    """
    readings = found.readings
    square = {
        name: (100 * (readings[name] / readings["measured"] - 1)) ** 2
        for name in ("predicted", rule)
    }
    of_sheet = pd.DataFrame(square).groupby([readings["shop"], readings["sheet_id"]]).mean()
    shops = of_sheet.index.get_level_values("shop").tolist()
    return bootstrap.limits(of_sheet.to_numpy(float), shops, _difference)


def _mean(values: Floats) -> float:
    return float(np.mean(values))


def _difference(squares: Floats) -> float:
    model, rule = np.sqrt(squares.mean(axis=0)).tolist()
    return float(rule - model)
