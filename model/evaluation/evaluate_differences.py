"""Coverage of the limits of differences, on pairs of sheets of held-out shops."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.comparison.compare import compare
from pullbook.model.evaluation import bootstrap
from pullbook.model.limits.difference_errors import COMMON, POINTS, across, same_engine, within
from pullbook.model.prediction.over_band import Band

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.prediction import Prediction

#: Level of the limits at which the chance of a pair is looked at; it does not depend on the level.
CHANCE_LEVEL = 0.9


def held_out(
    pulls: Sequence[pd.DataFrame],
    groups: tuple[np.ndarray, np.ndarray],
    table: pd.DataFrame,
    predictions: Sequence[Prediction],
    pairs: Mapping[str, PairScores],
    levels: Sequence[float],
    seed: int,
) -> pd.DataFrame:
    """Return for pairs of held-out sheets whether their difference is inside its limits.

    Parameters
    ----------
    pulls
        Curated readings of each sheet.
    groups
        Number of the shop of each sheet, and a number that sheets share which are not paired.
    table
        Features of the sheets.
    predictions
        Predictions of the sheets by a model without their shops.
    pairs
        The model's scores of pairs.
    levels
        Levels of the limits.
    seed
        Seed of the choice of pairs.

    Returns
    -------
    A row a pair: ``one_shop``, ``cluster`` (the shop, or the couple of shops) and for each level
    the share of points (``point_0.9``) and whether the mean (``mean_0.9``) is inside, and the
    half-width of the mean's limits over the sum of those of the two builds (``share_0.9``). Also
    the ``chance`` of the build that is likely to have the higher mean, and whether it had it
    (``right``).

    """
    shop, apart = groups
    rng = np.random.default_rng(seed)
    of_one = within(shop, rng)
    of_one = of_one[apart[of_one[:, 0]] != apart[of_one[:, 1]]]
    of_one = of_one[~same_engine(table, of_one)]
    of_two, couple = across(shop, rng) if len(np.unique(shop)) > 1 else (of_one[:0], shop[:0])
    rows = []
    for both, clusters, one_shop in ((of_one, shop[of_one[:, 0]], True), (of_two, couple, False)):
        for pair, cluster in zip(both.tolist(), clusters.tolist(), strict=True):
            row = _pair(
                [pulls[one] for one in pair], [predictions[one] for one in pair], pairs, levels,
                one_shop,
            )  # fmt: skip
            if row is not None:
                rows.append({"one_shop": one_shop, "cluster": cluster, **row})
    return pd.DataFrame(rows) if rows else none()


def none() -> pd.DataFrame:
    """Return a table of no pairs."""
    return pd.DataFrame({"one_shop": pd.Series(dtype=bool), "cluster": pd.Series(dtype=int)})


def _pair(
    pulls: list[pd.DataFrame],
    both: list[Prediction],
    pairs: Mapping[str, PairScores],
    levels: Sequence[float],
    one_shop: bool,
) -> dict[str, Any] | None:
    curves = []
    for pull in pulls:
        ordered = pull.sort_values("rpm", kind="stable")
        curves.append((ordered["rpm"].to_numpy(float), ordered["torque"].to_numpy(float)))
    low, high = max(rpm[0] for rpm, _ in curves), min(rpm[-1] for rpm, _ in curves)
    if high - low < COMMON:
        return None
    rpm = np.linspace(low, high, POINTS)
    first, second = (np.interp(rpm, *curve) for curve in curves)
    measured = first - second
    row: dict[str, Any] = {}
    band = Band((low, high), (low, high))
    for level in levels:
        found = compare(both, ("a", "b"), pairs, band, level, rpm, one_shop)
        if found.level < level or found.mean.low is None or found.mean.high is None:
            continue
        inside = [
            one.low is not None and one.high is not None and one.low <= value <= one.high
            for one, value in zip(found.curve, measured.tolist(), strict=True)
        ]
        row[f"point_{level}"] = float(np.mean(inside))
        row[f"mean_{level}"] = float(found.mean.low <= measured.mean() <= found.mean.high)
        bands = sum(_half_band(one, rpm, level) for one in both)
        half = (found.mean.high - found.mean.low) / 2
        row[f"share_{level}"] = half / bands if bands > 0 else np.nan
        if level == CHANCE_LEVEL and found.chance is not None:
            first_likelier = found.chance >= 1 / 2
            row["chance"] = max(found.chance, 1 - found.chance)
            row["right"] = float(first_likelier == (measured.mean() > 0))
    return row


def _half_band(one: Prediction, rpm: np.ndarray, level: float) -> float:
    """Return the mean half-width of the limits of one build, lb-ft."""
    factor = one.threshold("point", level) or 0.0
    return float(np.mean(one.torque(rpm) * np.sinh(factor * one.width(rpm))))


def reliability(rows: pd.DataFrame, bins: int = 5) -> pd.DataFrame:
    """Return how often the likelier of two builds did make more, by the chance that was stated.

    Parameters
    ----------
    rows
        As returned by `held_out`.
    bins
        Number of bins of equal width between chances of 50 and 100 %.

    Returns
    -------
    A row a bin that has pairs: ``from`` and ``to``; of its ``pairs`` the mean ``stated`` chance and
    the share ``right``, with its 90 % limits over clusters, ``low`` and ``high``. Clusters, which
    are shops or couples of shops, weigh alike.

    """
    names = ["from", "to", "pairs", "stated", "right", "low", "high"]
    if "chance" not in rows:
        return pd.DataFrame(columns=names)
    known = rows.dropna(subset=["chance"])
    place = np.clip(((known["chance"].to_numpy(float) - 0.5) * 2 * bins).astype(int), 0, bins - 1)
    found = []
    for number in range(bins):
        own = known[place == number]
        if own.empty:
            continue
        clusters = own.groupby("cluster")[["chance", "right"]].mean().to_numpy(float)
        limits = bootstrap.limits(clusters[:, 1], range(len(clusters)), _mean)
        edges = (0.5 + number / 2 / bins, 0.5 + (number + 1) / 2 / bins)
        found.append((*edges, len(own), float(clusters[:, 0].mean()), *limits))
    return pd.DataFrame(found, columns=names)


def _mean(values: np.ndarray) -> float:
    return float(values.mean())


def summary(rows: pd.DataFrame, levels: Sequence[float]) -> dict[str, Any]:
    """Return coverage of differences by level; shops, or couples of shops, have the same weight."""
    found: dict[str, Any] = {}
    for one_shop, name in ((True, "one_shop"), (False, "two_shops")):
        own = rows[rows["one_shop"] == one_shop]
        found[name] = {
            str(level): {
                "point": round(float(own.groupby("cluster")[f"point_{level}"].mean().mean()), 4),
                "mean": round(float(own.groupby("cluster")[f"mean_{level}"].mean().mean()), 4),
                "width_over_two_bands": round(float(own[f"share_{level}"].median()), 3),
            }
            for level in levels
            if f"mean_{level}" in own and own[f"mean_{level}"].notna().any()
        }
    return found
