"""Errors of predictions against measured pulls, and whether these are inside the limits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.evaluation import accuracy
from pullbook.model.limits import calibration, highest
from pullbook.model.prediction.clearance import chance_above
from pullbook.model.range import novelty, tested_speeds
from pullbook.schemas.fields import BUILD_FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction

#: Levels at which limits are compared with measured values.
LEVELS = (0.5, 0.8, 0.9, 0.95)
#: The level of figures that have one level only.
LEVEL = 0.9


def score_predictions(
    builds: pd.DataFrame, pulls: Mapping[str, pd.DataFrame], predictions: Sequence[Prediction]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the errors of predictions, and whether measured values are inside the limits.

    Parameters
    ----------
    builds
        Curated builds.
    pulls
        Their curated readings by ``sheet_id``.
    predictions
        Predictions of the builds, in their order.

    Returns
    -------
    readings
        A row a reading: ``sheet_id``, ``shop``, ``rpm``, ``measured`` and ``predicted`` lb-ft;
        for each level whether it is inside the limits (``inside_0.9``) and their width as a share
        of torque (``width_0.9``); ``pit`` (the forecast probability below it), ``crps`` and
        ``interval_score``, % of torque.
    sheets
        A row a sheet: ``standing``, ``distance``, ``given`` (number of fields of the build that the
        sheet gives), and for each level whether the whole curve is inside the band (``band_0.9``)
        and each of `evaluate.PEAKS` inside its limits (``torque_rpm_0.9``).

    """
    given = builds[list(BUILD_FIELDS)].notna().sum(axis=1).tolist()
    names, shops = builds["sheet_id"].tolist(), builds["shop"].tolist()
    readings, sheets = [], []
    for name, shop, fields, found in zip(names, shops, given, predictions, strict=True):
        one, whole = _of_sheet(name, shop, pulls[name], found)
        readings.append(one)
        sheets.append({**whole, "given": fields})
    return pd.concat(readings, ignore_index=True), pd.DataFrame(sheets)


def _of_sheet(
    name: str, shop: str, pull: pd.DataFrame, found: Prediction
) -> tuple[pd.DataFrame, dict[str, Any]]:
    rpm = pull["rpm"].to_numpy(dtype=float)
    measured = pull["torque"].to_numpy(dtype=float)
    predicted, width = found.torque(rpm), found.width(rpm)
    off = np.log(measured / predicted)
    far = np.abs(off)
    above = chance_above(found, rpm, measured)

    def half(level: float) -> Floats | None:
        factor = found.threshold("point", level) if level > 0 else 0.0
        return None if factor is None else factor * width

    # Plain columns until all are there: pandas takes long to put each into a table by itself.
    readings: dict[str, Any] = {
        "sheet_id": name, "shop": shop, "rpm": rpm, "measured": measured, "predicted": predicted,
        "pit": np.nan if above is None else 1.0 - above,
        **accuracy.scores(np.log(predicted), half, np.log(measured), LEVEL),
    }  # fmt: skip
    sheet: dict[str, Any] = {
        "sheet_id": name,
        "shop": shop,
        "standing": found.standing.value,
        "distance": float(np.mean(found.distances[: novelty.NEAREST])),
    }
    peaks = _peaks(rpm, measured, found)
    rows = calibration.middle(np.zeros(len(rpm), dtype=np.int64), rpm, 1)
    peaks["mean"] = "mean", abs(float(off[rows].sum())) / float(width[rows].sum())
    power = [float((one * rpm)[rows].sum()) for one in (measured, predicted)]
    peaks["mean_power"] = "mean", abs(np.log(power[0] / power[1])) / float(width[rows].mean())
    for level in LEVELS:
        single, whole = found.threshold("point", level), found.threshold("band", level)
        readings[f"inside_{level}"] = (
            np.nan if single is None else (far <= single * width).astype(float)
        )
        readings[f"width_{level}"] = np.nan if single is None else 2 * np.sinh(single * width)
        sheet[f"band_{level}"] = None if whole is None else bool((far <= whole * width).all())
        sheet[f"above_band_{level}"] = (
            None if whole is None else bool((off >= -whole * width).all())
        )
        for name_, (part, score) in peaks.items():
            most = found.threshold(part, level)
            sheet[f"{name_}_{level}"] = None if most is None or score is None else score <= most
    return pd.DataFrame(readings), sheet


def _peaks(rpm: Floats, measured: Floats, found: Prediction) -> dict[str, tuple[str, float | None]]:
    """Return by quantity the part of `Regime` that its highest value obeys, and its score.

    ``None`` where the sweep does not cover the engine speeds around the predicted place.
    """
    low, high = found.answered(tested_speeds.speeds_of(*tested_speeds.DEFAULT_RPM))
    scores: dict[str, tuple[str, float | None]] = {}
    for quantity in ("torque", "power"):
        off = None
        if low <= high:
            fine = highest.fine_speeds(low, high)
            made, guess = measured, found.torque(fine)
            if quantity == "power":
                made, guess = made * rpm, guess * fine
            off = highest.miss(rpm, made, fine, guess)
        for speed in (False, True):
            part = calibration.peak_part(
                quantity, at_end=off is not None and off.predicted.at_end, speed=speed
            )
            score = None
            if off is not None:
                width = float(found.width(np.array([off.predicted.rpm]))[0])
                score = abs(off.rpm) / found.widened if speed else abs(off.height) / width
            scores[calibration.peak_part(quantity, at_end=False, speed=speed)] = part, score
    return scores
