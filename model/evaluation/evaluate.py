"""The fair test: whole shops held out from both training and calibration."""

from __future__ import annotations

from collections import ChainMap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.evaluation import accuracy, evaluate_differences, hardest_sheets, rules_of_thumb
from pullbook.model.evaluation.prediction_errors import LEVELS, score_predictions
from pullbook.model.learning import smooth_curves
from pullbook.model.learning.sample import sample_of
from pullbook.model.prediction.predict import predict
from pullbook.model.training import hold_out
from pullbook.model.training.start_from import start_from
from pullbook.model.training.train_model import THREADS, train
from pullbook.pipeline.builds.engine_groups import ENGINE, held_out_groups
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.physics import engine_quantities
from pullbook.schemas.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.evaluation.hardest_sheets import Suspect
    from pullbook.model.learning.settings import Settings
    from pullbook.model.trained.trained_model import Model
    from pullbook.model.training.hold_out import Track
    from pullbook.pipeline.builds.engine_groups import Groups
    from pullbook.pipeline.parallel.workers import Crew

RULES = ("mean_per_cubic_inch", "nearest_sheet")
#: Parts of `calibration.Regime` that concern a whole sheet, and their names in the figures.
PEAKS = {
    "mean": "band_mean",
    "mean_power": "band_mean_power",
    "torque": "peak_torque",
    "torque_rpm": "peak_torque_rpm",
    "power": "peak_power",
    "power_rpm": "peak_power_rpm",
}


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Predictions of held-out shops, compared with their measured pulls.

    Attributes
    ----------
    readings
        A row a reading: ``sheet_id``, ``shop``, ``rpm``, ``measured`` lb-ft, ``predicted`` by
        the model and by each rule of thumb, and the other columns of
        `prediction_errors.score_predictions`.
    sheets
        A row a sheet, from `prediction_errors.score_predictions`.
    pairs
        A row a pair, from `evaluate_differences.held_out`.
    suspects
        By ``sheet_id`` a field that may be wrong, from `hardest_sheets.suspects`.
    held_out
        What was held out: each a ``shop`` or an ``engine``, whose name then stands for a shop's.
    """

    readings: pd.DataFrame
    sheets: pd.DataFrame
    pairs: pd.DataFrame
    suspects: Mapping[str, Suspect]
    held_out: str

    def metrics(self) -> dict[str, Any]:
        """Return the figures; in shares, shops have equal weight, and so have a shop's sheets."""
        sheets = self.sheets
        return {
            "sheets": len(sheets),
            "shops": int(sheets["shop"].nunique()),
            "held_out": self.held_out,
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
        """Return the levels that limits of any sheet can keep."""
        return [one for one in LEVELS if self.readings[f"inside_{one}"].notna().any()]

    def errors(self) -> dict[str, dict[str, tuple[float, float, float]]]:
        """Return `accuracy.summary` of the model and of each rule of thumb."""
        rules = self.readings.drop(columns=["crps", "interval_score"])
        return {
            name: accuracy.summary(
                accuracy.by_sheet(self.readings if name == "predicted" else rules, name)
            )
            for name in ("predicted", *RULES)
        }


def coverage(readings: pd.DataFrame, sheets: pd.DataFrame) -> dict[str, dict[str, float]]:
    """Return the share of measured values inside the limits, by kind of limits and by level.

    Parameters as returned by `prediction_errors.score_predictions`. Every shop has the same weight,
    and so has every sheet of a shop. A sheet whose limits cannot keep a level is left out there.
    """
    found: dict[str, dict[str, float]] = {"reading": {}, "curve": {}}
    found |= {name: {} for name in PEAKS.values()}
    whole = sheets.set_index(["shop", "sheet_id"])
    for level in LEVELS:
        by_sheet = readings.groupby(["shop", "sheet_id"])[f"inside_{level}"].mean().dropna()
        if by_sheet.empty:
            continue
        found["reading"][str(level)] = _shop_mean(by_sheet)
        found["curve"][str(level)] = _shop_mean(whole[f"band_{level}"].dropna())
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
    workers: Crew = THREADS,
    start: Model | None = None,
) -> Evaluation:
    """Hold out every shop once and predict it with a model trained on the others.

    Of the data of few shops every engine is held out once, and takes the place of a shop.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    settings
        Settings of each training run.
    parts
        Number of parts that the shops are held out in.
    track
        Wraps the loop over parts to show progress.
    workers
        Threads, processes or a cluster that work on the folds of each training run.
    start
        Model that the data of few shops starts from; ``None`` for none.

    """
    groups = held_out_groups(builds)
    fold = hold_out.folds(pd.factorize(groups.names)[0], parts)
    found = [
        _part((builds, pulls, groups), fold == number, settings, workers, start)
        for number in track(range(int(fold.max()) + 1))
    ]
    *tables, suspects = zip(*found, strict=True)
    readings, sheets, pairs = (pd.concat(part, ignore_index=True) for part in tables)
    return Evaluation(readings, sheets, pairs, dict(ChainMap(*suspects)), groups.what)


def _part(
    data: tuple[pd.DataFrame, pd.DataFrame, Groups],
    out: np.ndarray,
    settings: Settings,
    workers: Crew,
    start: Model | None,
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, dict[str, Suspect]]:
    builds, pulls, (names_of, what) = data
    inner, outer = builds[~out].reset_index(drop=True), builds[out].reset_index(drop=True)
    inner_pulls = pulls[pulls["sheet_id"].isin(inner["sheet_id"])]
    outer_pulls = pulls[pulls["sheet_id"].isin(outer["sheet_id"])]
    few = what == ENGINE and start is not None
    begin = start_from(start, inner, inner_pulls) if few and start is not None else None
    features = (
        feature_table.fit(inner) if begin is None else feature_table.filled(inner, begin.filling)
    )
    model = train(inner, inner_pulls, features, settings, workers=workers, start=begin)
    known = sample_of(inner, inner_pulls, features.table)
    asked = outer.assign(engine=None).astype(outer.dtypes.to_dict())
    codes = outer["shop"].tolist() if what == ENGINE else [None] * len(outer)
    predictions = predict(model, asked, codes)
    outer = outer.assign(shop=names_of[out].to_numpy())
    speeds = model.speeds
    mean = rules_of_thumb.mean_per_cubic_inch(known, speeds)
    nearest = np.array([found.nearest[0] for found in predictions])
    nearest_curves = rules_of_thumb.nearest_sheet(known, nearest, speeds)
    displacement = np.asarray(engine_quantities.size_of(outer).engine)
    groups = {str(name): own for name, own in outer_pulls.groupby("sheet_id", sort=False)}
    suspects = hardest_sheets.suspects(model, asked, groups, codes)
    names = outer["sheet_id"].tolist()
    readings, sheets = score_predictions(outer, groups, predictions)
    place = pd.Series(np.arange(len(names)), index=names)[readings["sheet_id"]].to_numpy()
    rpm = readings["rpm"].to_numpy(float)
    for name, curves in zip(RULES, (np.tile(mean, (len(names), 1)), nearest_curves), strict=True):
        readings[name] = displacement[place] * np.exp(smooth_curves.at(curves, speeds, place, rpm))
    number = pd.factorize(outer["shop"])[0]
    dyno = np.zeros(len(outer), dtype=np.int64) if what == ENGINE else number
    pairs = evaluate_differences.none()
    if model.pairs:
        pairs = evaluate_differences.held_out(
            [groups[name] for name in names],
            (dyno, number if what == ENGINE else np.arange(len(outer))),
            feature_table.make(outer, model.filling),
            predictions,
            model.pairs,
            LEVELS,
            settings.seed,
        )
        pairs["cluster"] = names[0] + " " + pairs["cluster"].astype(str)
    return readings, sheets, pairs, suspects
