"""Errors of a predictor, by sheet and overall: of the curve, its peaks and its mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.model.evaluation import bootstrap, forecast_scores
from pullbook.model.learning import smooth_curves
from pullbook.model.limits.calibration import measured_curve, middle

if TYPE_CHECKING:
    from collections.abc import Callable

    from pullbook.model.learning.sample import Floats

#: Probabilities of the quantiles in the ranked probability score, the middles of equal steps.
SHARES = (np.arange(20) + 0.5) / 20


def scores(centre: Floats, half: Callable[[float], Floats | None], value: Floats,
           level: float) -> dict[str, Floats]:  # fmt: skip
    """Return the scores of limits on a logarithmic scale, by reading, % of torque.

    Parameters
    ----------
    centre, value
        Logarithms of torque, predicted and measured, shape (readings,).
    half
        Returns the half-width of the limits at a level, or ``None`` if there are none.
    level
        Level of the interval score.

    Returns
    -------
    ``crps`` and ``interval_score``; NaN without limits.

    """
    nothing = np.full(len(value), np.nan)
    found = {"crps": nothing, "interval_score": nothing}
    width = half(level)
    if width is not None:
        found["interval_score"] = 100 * forecast_scores.interval_score(
            centre - width, centre + width, value, level
        )
    halves = [half(abs(2 * share - 1)) for share in SHARES.tolist()]
    if all(one is not None for one in halves):
        quantiles = np.array([
            centre + np.sign(share - 0.5) * one
            for share, one in zip(SHARES.tolist(), halves, strict=True) if one is not None
        ])  # fmt: skip
        found["crps"] = 100 * forecast_scores.crps(quantiles, SHARES, value)
    return found


def by_sheet(readings: pd.DataFrame, name: str = "predicted") -> pd.DataFrame:
    """Return the errors of a predictor, a row a sheet.

    Parameters
    ----------
    readings
        A row a reading: ``sheet_id``, ``shop``, ``rpm``, ``measured``, the predictor, and, if there
        are any, ``crps`` and ``interval_score``.
    name
        Column of the predictor.

    Returns
    -------
    ``shop``; in % of the measured value ``curve`` (root mean square), ``torque`` and ``power`` (of
    the peak) and ``band`` (of the mean over the middle half of the sweep); ``torque_rpm`` and
    ``power_rpm``, rev/min, NaN if the measured peak is at an end of the sweep; and the scores.

    """
    rows = {}
    for sheet, own in readings.groupby("sheet_id", sort=False):
        pull = own.sort_values("rpm", kind="stable")
        rpm, measured, predicted = (
            pull[column].to_numpy(float) for column in ("rpm", "measured", name)
        )
        relative = 100 * (predicted / measured - 1)
        row = {"curve": float(np.sqrt(np.mean(relative**2)))}
        speeds, truth = measured_curve(rpm, np.log(measured))
        _, guess = measured_curve(rpm, np.log(predicted))
        for part, factor in (("torque", 1.0), ("power", speeds)):
            top, where, at_end = smooth_curves.peak(speeds, np.exp(truth) * factor)
            guessed, there, _ = smooth_curves.peak(speeds, np.exp(guess) * factor)
            row[part] = 100 * (guessed / top - 1)
            row[f"{part}_rpm"] = np.nan if at_end else there - where
        inside = middle(np.zeros(len(speeds), dtype=np.int64), speeds, 1)
        row["band"] = 100 * float(np.exp(guess[inside]).mean() / np.exp(truth[inside]).mean() - 1)
        rows[sheet] = {"shop": own["shop"].iloc[0], **row}
    found = pd.DataFrame.from_dict(rows, orient="index")
    for score in ("crps", "interval_score"):
        if score in readings:
            found[score] = readings.groupby("sheet_id", sort=False)[score].mean()
    return found


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _p90(values: Floats) -> float:
    return float(np.quantile(values, 0.9))


#: For each figure its column of `by_sheet`, its statistic, and its name in words.
FIGURES: dict[str, tuple[str, Callable[[Floats], float], str]] = {
    "rms": ("curve", _rms, "curve, rms, %"),
    "median_sheet": ("curve", lambda values: float(np.median(values)), "median sheet, %"),
    "p90_sheet": ("curve", _p90, "90th percentile sheet, %"),
    "peak_torque": ("torque", _rms, "peak torque, rms, %"),
    "peak_torque_rpm": ("torque_rpm", _rms, "its speed, rms, rpm"),
    "peak_power": ("power", _rms, "peak power, rms, %"),
    "peak_power_rpm": ("power_rpm", _rms, "its speed, rms, rpm"),
    "band_mean": ("band", _rms, "mean over a band, rms, %"),
    "crps": ("crps", lambda values: float(np.mean(values)), "CRPS, %"),
    "interval_score": ("interval_score", lambda values: float(np.mean(values)),
                       "interval score, %"),
}  # fmt: skip


def summary(sheets: pd.DataFrame) -> dict[str, tuple[float, float, float]]:
    """Return each of `FIGURES` with its 90 % limits over shops, if there are values for it."""
    found = {}
    for name, (column, statistic, _) in FIGURES.items():
        if column not in sheets or not sheets[column].notna().any():
            continue
        known = sheets[sheets[column].notna()]
        found[name] = bootstrap.limits(
            known[column].to_numpy(float), known["shop"].tolist(), statistic
        )
    return found
