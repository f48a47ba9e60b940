"""The fair test: whole shops held out from everything, training and calibration alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.answers.predict import predict
from pullbook.model.evaluation import accuracy, evaluate_differences, rules_of_thumb
from pullbook.model.evaluation.prediction_errors import LEVELS, held_against
from pullbook.model.learning import smooth_curves
from pullbook.model.learning.sample import sample_of
from pullbook.model.training import hold_out
from pullbook.model.training.train_model import THREADS, train
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.physics import engine_quantities
from pullbook.schemas.answer import Standing

if TYPE_CHECKING:
    from pullbook.model.learning.settings import Settings
    from pullbook.model.training.hold_out import Track
    from pullbook.pipeline.parallel.workers import Crew

RULES = ("mean_per_cubic_inch", "nearest_sheet")
#: Parts of `calibration.Regime` that are of a sheet, and what they are called in the figures.
PEAKS = {
    "mean": "band_mean",
    "torque": "peak_torque",
    "torque_rpm": "peak_torque_rpm",
    "power": "peak_power",
    "power_rpm": "peak_power_rpm",
}


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What was found on shops that were held out.

    Attributes
    ----------
    readings
        A row a reading: ``sheet_id``, ``shop``, ``rpm``, ``measured`` lb-ft, ``predicted`` by
        the model and by each rule of thumb, and what else `against.held_against` gives.
    sheets
        A row a sheet, as `against.held_against` gives them.
    pairs
        A row a pair, as `evaluate_differences.held_out` gives them.
    """

    readings: pd.DataFrame
    sheets: pd.DataFrame
    pairs: pd.DataFrame

    def metrics(self) -> dict[str, Any]:
        """Return the figures; shops weigh the same, and their sheets, where a share is taken."""
        sheets = self.sheets
        return {
            "sheets": len(sheets),
            "shops": int(sheets["shop"].nunique()),
            "error": {
                name: {figure: round(value, 3) for figure, (value, _, _) in figures.items()}
                for name, figures in self.errors().items()
            },
            "coverage": coverage(self.readings, sheets),
            "coverage_difference": evaluate_differences.summary(self.pairs, LEVELS),
            "median_width_percent": {
                str(level): round(100 * float(self.readings[f"width_{level}"].median()), 2)
                for level in self.levels()
            },
            "standing_share": {
                s.value: round(float((sheets["standing"] == s.value).mean()), 4) for s in Standing
            },
        }

    def levels(self) -> list[float]:
        """Return the levels that the shops suffice for."""
        return [one for one in LEVELS if self.readings[f"inside_{one}"].notna().all()]

    def errors(self) -> dict[str, dict[str, tuple[float, float, float]]]:
        """Return for the model and each rule of thumb `accuracy.summary`."""
        rules = self.readings.drop(columns=["crps", "interval_score"])
        return {
            name: accuracy.summary(
                accuracy.by_sheet(self.readings if name == "predicted" else rules, name)
            )
            for name in ("predicted", *RULES)
        }


def coverage(readings: pd.DataFrame, sheets: pd.DataFrame) -> dict[str, dict[str, float]]:
    """Return by what is promised and by level the share that came to lie inside.

    Parameters as `against.held_against` returns them. Every shop weighs the same, and every sheet
    of a shop. Levels without limits are left out.
    """
    found: dict[str, dict[str, float]] = {"reading": {}, "curve": {}}
    found |= {name: {} for name in PEAKS.values()}
    whole = sheets.set_index(["shop", "sheet_id"])
    for level in LEVELS:
        if readings[f"inside_{level}"].isna().any():
            continue
        by_sheet = readings.groupby(["shop", "sheet_id"])[f"inside_{level}"].mean()
        found["reading"][str(level)] = _shop_mean(by_sheet)
        found["curve"][str(level)] = _shop_mean(whole[f"band_{level}"])
        for part, name in PEAKS.items():
            seen = whole[f"{part}_{level}"].dropna()
            if len(seen):
                found[name][str(level)] = _shop_mean(seen)
    return found


def _shop_mean(of_sheet: pd.Series) -> float:
    return round(float(of_sheet.astype(float).groupby("shop").mean().mean()), 4)


def evaluate(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    settings: Settings,
    parts: int,
    track: Track = iter,
    crew: Crew = THREADS,
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
    crew
        Whoever works on the folds of each training.

    """
    shop = pd.factorize(builds["shop"])[0]
    fold = hold_out.folds(shop, parts)
    found = [
        _part(builds, pulls, fold == number, settings, crew)
        for number in track(range(int(fold.max()) + 1))
    ]
    readings, sheets, pairs = (
        pd.concat(part, ignore_index=True) for part in zip(*found, strict=True)
    )
    return Evaluation(readings, sheets, pairs)


def _part(
    builds: pd.DataFrame, pulls: pd.DataFrame, out: np.ndarray, settings: Settings, crew: Crew
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    inner, outer = builds[~out].reset_index(drop=True), builds[out].reset_index(drop=True)
    inner_pulls = pulls[pulls["sheet_id"].isin(inner["sheet_id"])]
    outer_pulls = pulls[pulls["sheet_id"].isin(outer["sheet_id"])]
    features = feature_table.fit(inner)
    model = train(inner, inner_pulls, features, settings, crew=crew)
    known = sample_of(inner, inner_pulls, features.table)
    predictions = predict(model, outer, [None] * len(outer))
    speeds = model.curve.speeds
    mean = rules_of_thumb.mean_per_cubic_inch(known, speeds)
    nearest = np.array([found.nearest[0] for found in predictions])
    nearest_curves = rules_of_thumb.nearest_sheet(known, nearest, speeds)
    displacement = np.asarray(engine_quantities.size_of(outer).engine)
    groups = {str(name): own for name, own in outer_pulls.groupby("sheet_id", sort=False)}
    names = outer["sheet_id"].tolist()
    readings, sheets = held_against(outer, groups, predictions)
    place = pd.Series(np.arange(len(names)), index=names)[readings["sheet_id"]].to_numpy()
    rpm = readings["rpm"].to_numpy(float)
    for name, curves in zip(RULES, (np.tile(mean, (len(names), 1)), nearest_curves), strict=True):
        readings[name] = displacement[place] * np.exp(smooth_curves.at(curves, speeds, place, rpm))
    number = pd.factorize(outer["shop"])[0]
    pairs = pd.DataFrame({"one_shop": pd.Series(dtype=bool), "cluster": pd.Series(dtype=int)})
    if model.pairs is not None:
        pairs = evaluate_differences.held_out(
            [groups[name] for name in names],
            number,
            feature_table.make(outer, model.filling),
            predictions,
            model.pairs,
            LEVELS,
            settings.seed,
        )
        pairs["cluster"] = names[0] + " " + pairs["cluster"].astype(str)
    return readings, sheets, pairs
