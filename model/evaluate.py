"""The fair test: whole shops held out from everything, training and calibration alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from model import calibration, evaluate_pairs, hold_out, novelty, rules_of_thumb, smooth
from model.prediction import predict
from model.sample import sample_of
from model.standing import Standing
from model.training import train
from pipeline import engine, feature_table
from schemas.fields import BUILD_FIELDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from model.hold_out import Track
    from model.prediction import Prediction
    from model.sample import Floats
    from model.settings import Settings

LEVELS = (0.5, 0.8, 0.9, 0.95)
_RULES = ("mean_per_cubic_inch", "nearest_sheet")


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What was found on shops that were held out.

    Attributes
    ----------
    readings
        A row a reading: ``sheet_id``, ``shop``, ``rpm``, ``measured`` lb-ft, ``predicted`` by
        the model, by each rule of thumb, and for each level whether it lies inside the limits
        (``inside_0.9``) and how wide they are as a share of torque (``width_0.9``).
    sheets
        A row a sheet: ``standing``, ``distance``, ``given`` (how many fields of the build the sheet
        gives), and for each level whether the whole curve lies inside the
        band (``band_0.9``) and the peak torque inside its limits (``peak_0.9``).
    pairs
        A row a pair, as `evaluate_pairs.held_out` gives them.
    """

    readings: pd.DataFrame
    sheets: pd.DataFrame
    pairs: pd.DataFrame

    def metrics(self) -> dict[str, Any]:
        """Return the figures; shops weigh the same, and their sheets, where a mean is taken."""
        readings, sheets = self.readings, self.sheets
        found: dict[str, Any] = {
            "sheets": len(sheets),
            "shops": int(sheets["shop"].nunique()),
            "error_percent": {
                name: error_summary(readings, name) for name in ("predicted", *_RULES)
            },
            "coverage_point": {},
            "coverage_band": {},
            "coverage_peak_torque": {},
            "coverage_difference": evaluate_pairs.summary(self.pairs, LEVELS),
            "median_width_percent": {},
            "standing_share": {
                s.value: round(float((sheets["standing"] == s.value).mean()), 4) for s in Standing
            },
        }
        for level in LEVELS:
            if readings[f"inside_{level}"].isna().any():
                continue  # too few shops for the level
            by_sheet = readings.groupby(["shop", "sheet_id"])[f"inside_{level}"].mean()
            found["coverage_point"][str(level)] = _shop_mean(by_sheet)
            whole = sheets.set_index(["shop", "sheet_id"])
            found["coverage_band"][str(level)] = _shop_mean(whole[f"band_{level}"])
            found["coverage_peak_torque"][str(level)] = _shop_mean(whole[f"peak_{level}"])
            width = 100 * float(readings[f"width_{level}"].median())
            found["median_width_percent"][str(level)] = round(width, 2)
        return found


def _shop_mean(of_sheet: pd.Series) -> float:
    return round(float(of_sheet.astype(float).groupby("shop").mean().mean()), 4)


def error_summary(readings: pd.DataFrame, name: str) -> dict[str, float]:
    """Return root mean square, median sheet and 90th percentile sheet of the relative error, %."""
    error = 100 * (readings[name] / readings["measured"] - 1)
    of_sheet = np.sqrt((error**2).groupby(readings["sheet_id"]).mean())
    return {
        "rms": round(float(np.sqrt((of_sheet**2).mean())), 3),
        "median_sheet": round(float(of_sheet.median()), 3),
        "p90_sheet": round(float(of_sheet.quantile(0.9)), 3),
    }


def evaluate(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    settings: Settings,
    parts: int,
    track: Track = iter,
) -> Evaluation:
    """Hold out every shop once and report what a model of the others says of it.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    settings
        Of each training run.
    parts
        How many parts the shops are held out in.
    track
        Wraps the loop over parts to show progress.

    """
    shop = pd.factorize(builds["shop"])[0]
    fold = hold_out.folds(shop, parts)
    found = [
        _part(builds, pulls, fold == number, settings)
        for number in track(range(int(fold.max()) + 1))
    ]
    readings, sheets, pairs = (
        pd.concat(part, ignore_index=True) for part in zip(*found, strict=True)
    )
    return Evaluation(readings, sheets, pairs)


def _part(
    builds: pd.DataFrame, pulls: pd.DataFrame, out: np.ndarray, settings: Settings
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    inner, outer = builds[~out].reset_index(drop=True), builds[out].reset_index(drop=True)
    inner_pulls = pulls[pulls["sheet_id"].isin(inner["sheet_id"])]
    outer_pulls = pulls[pulls["sheet_id"].isin(outer["sheet_id"])]
    features = feature_table.fit(inner)
    model = train(inner, inner_pulls, features, settings)
    known = sample_of(inner, inner_pulls, features.table)
    predictions = predict(model, outer, [None] * len(outer))
    speeds = model.curve.speeds
    mean = rules_of_thumb.mean_per_cubic_inch(known, speeds)
    nearest = np.array([found.nearest[0] for found in predictions])
    nearest_curves = rules_of_thumb.nearest_sheet(known, nearest, speeds)
    bore, stroke, cylinders = (
        outer[name].to_numpy(dtype=float) for name in ("bore", "stroke", "cylinders")
    )
    displacement = np.asarray(engine.displacement(bore, stroke, cylinders))
    groups = dict(list(outer_pulls.groupby("sheet_id", sort=False)))
    names = outer["sheet_id"].tolist()
    given = outer[list(BUILD_FIELDS)].notna().sum(axis=1).to_numpy()
    readings, sheets = [], []
    for i, (name, found) in enumerate(zip(names, predictions, strict=True)):
        pull = groups[name]
        rpm = pull["rpm"].to_numpy(dtype=float)
        rules = [
            displacement[i]
            * np.exp(smooth.at(c[None, :], speeds, np.zeros(len(rpm), dtype=np.int64), rpm))
            for c in (mean, nearest_curves[i])
        ]
        shop = str(outer["shop"].iloc[i])
        one, whole = _of_sheet(name, shop, pull, found, rules)
        readings.append(one)
        sheets.append({**whole, "given": int(given[i])})
    number = pd.factorize(outer["shop"])[0]
    pairs = pd.DataFrame({"one_shop": pd.Series(dtype=bool), "cluster": pd.Series(dtype=int)})
    if model.pairs is not None:
        pairs = evaluate_pairs.held_out(
            [groups[name] for name in names],
            number,
            feature_table.make(outer, model.filling),
            predictions,
            model.pairs,
            LEVELS,
            settings.seed,
        )
        pairs["cluster"] = names[0] + " " + pairs["cluster"].astype(str)
    return pd.concat(readings, ignore_index=True), pd.DataFrame(sheets), pairs


def _of_sheet(
    name: str, shop: str, pull: pd.DataFrame, found: Prediction, rules: Sequence[Floats]
) -> tuple[pd.DataFrame, dict[str, Any]]:
    rpm = pull["rpm"].to_numpy(dtype=float)
    measured = pull["torque"].to_numpy(dtype=float)
    predicted, width = found.torque(rpm), found.width(rpm)
    far = np.abs(np.log(measured / predicted))
    readings = pd.DataFrame(
        {"sheet_id": name, "shop": shop, "rpm": rpm, "measured": measured, "predicted": predicted}
        | dict(zip(_RULES, rules, strict=True))
    )
    sheet: dict[str, Any] = {
        "sheet_id": name,
        "shop": shop,
        "standing": found.standing.value,
        "distance": float(np.mean(found.distances[: novelty.NEAREST])),
    }
    speeds, curve = calibration.measured_curve(rpm, np.log(measured))
    top = float(np.exp(curve.max()))
    peak = float(found.torque(speeds).max())
    at_peak = float(found.width(speeds[np.argmax(curve)][None])[0])
    for level in LEVELS:
        single, whole = found.threshold("point", level), found.threshold("band", level)
        height = found.threshold("torque", level)
        readings[f"inside_{level}"] = (
            np.nan if single is None else (far <= single * width).astype(float)
        )
        readings[f"width_{level}"] = np.nan if single is None else 2 * np.sinh(single * width)
        sheet[f"band_{level}"] = None if whole is None else bool((far <= whole * width).all())
        sheet[f"peak_{level}"] = (
            None if height is None else bool(abs(np.log(top / peak)) <= height * at_peak)
        )
    return readings, sheet
