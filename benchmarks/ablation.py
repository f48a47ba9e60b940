"""What each part of the model and each group of features is worth: ``make ablation``.

Every row leaves one thing out and learns again on the same shop folds. A group of fields says how
much sheets without it lose. Three parts save no error on the demo and stay for what error does not
show: smoothing takes the stairs out of a curve, the weights keep copies and doubtful sheets from
counting in full, and the learned width is what makes limits wider where less is known.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.model.answers.explain import GROUPS
from pullbook.model.evaluation import bootstrap
from pullbook.model.learning import gaussian_process, smooth_curves
from pullbook.model.learning.curve_model import HeldOutCurves, choose, fit_trees, gain_of, grid_of
from pullbook.model.learning.sample import charge, readings, sample_of
from pullbook.model.learning.settings import Settings
from pullbook.model.limits import conformal, expected_error, known_shops
from pullbook.model.range import novelty
from pullbook.model.training import hold_out
from pullbook.model.training.train_model import THREADS
from pullbook.pipeline.curation import data_set
from pullbook.pipeline.features import engineered_features, feature_table
from pullbook.pipeline.features.feature_table import GIVEN

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Sample

_FOLDS = 5
#: Fields that an engine's size is made of; they stay.
_KEPT = ("cylinders", "bore", "stroke", "aspiration")
_RESULTS = Path(__file__).parent / "results"
_LEVEL = 0.9


class Trial:
    """One way of learning: held-out trees and processes of a data set."""

    def __init__(self, sample: Sample, settings: Settings) -> None:
        """Hold out and learn."""
        self.sample, self.settings = sample, settings
        self.shop = pd.factorize(sample.shops)[0]
        self.fold = hold_out.folds(self.shop, _FOLDS)
        self.speeds = grid_of(sample)
        (self.said,) = hold_out.predict_held_out(
            sample, self.fold, self.speeds, settings, THREADS, iter
        )

    def residuals(self, curves: Floats) -> Floats:
        """Return measured less predicted of every reading."""
        return hold_out.residuals(self.sample, curves, self.speeds)

    def blended(self) -> Floats:
        """Return the curves of the blend that errs least."""
        return self.said.blended(choose(self.sample, self.speeds, self.said))


def _by_sheet(sample: Sample, residual: Floats) -> Floats:
    square = np.expm1(-residual) ** 2
    return 1e4 * np.bincount(sample.sheet, square) / np.bincount(sample.sheet)


def _rms(squares: Floats) -> float:
    return float(np.sqrt(np.mean(squares[:, 0])))


def _more(squares: Floats) -> float:
    return float(np.sqrt(np.mean(squares[:, 0])) - np.sqrt(np.mean(squares[:, 1])))


def _row(kind: str, name: str, sample: Sample, squares: Floats, whole: Floats) -> dict[str, object]:
    both = np.column_stack([squares, whole])
    more, low, high = bootstrap.limits(both, sample.shops.tolist(), _more)
    row = {"kind": kind, "left_out": name, "rms": round(_rms(both), 3)}
    print(
        f"{kind:10} {name:45} {row['rms']:.3f} {more:+.3f} ({low:+.3f} to {high:+.3f})", flush=True
    )
    return row | {"more": round(more, 3), "low": round(low, 3), "high": round(high, 3)}


def _without(builds: pd.DataFrame, names: tuple[str, ...]) -> pd.DataFrame:
    """Return builds that do not give some fields; what a size is made of stays."""
    gone = [name for name in names if name not in _KEPT]
    every = np.ones(len(builds), dtype=bool)
    return builds.assign(**{name: builds[name].mask(every) for name in gone})


def _columns(table: pd.DataFrame) -> dict[str, list[str]]:
    names = [str(name) for name in table]
    given = [name for name in names if name.startswith(GIVEN)]
    kept = ("displacement", "pressure_ratio")  # the target is scaled by them
    return {
        "whether a field was given": given,
        "features that go with rpm": list(engineered_features.PER_RPM),
        "other engineered features": [
            name for name in names
            if name in engineered_features.FEATURES
            and name not in (*engineered_features.PER_RPM, *kept)
        ],
        "fields as they stand": [
            name for name in names if name not in engineered_features.FEATURES and name not in given
        ],
    }  # fmt: skip


def ablate(builds: pd.DataFrame, pulls: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return a row a thing left out: error, and how much more it is, with limits over shops."""
    table = feature_table.fit(builds).table
    sample = sample_of(builds, pulls, table)
    base = Trial(sample, settings)
    residual = base.residuals(base.blended())
    whole = _by_sheet(sample, residual)
    rows = [_row("all", "nothing", sample, whole, whole)]

    def tell(kind: str, name: str, residual: Floats) -> None:
        rows.append(_row(kind, name, sample, _by_sheet(sample, residual), whole))

    def tell_table(kind: str, name: str, changed: pd.DataFrame) -> None:
        trial = Trial(sample_of(builds, pulls, changed), settings)
        tell(kind, name, trial.residuals(trial.blended()))

    tell("model", "the process: trees alone", base.residuals(base.said.trees))
    for scatter, curves in zip(gaussian_process.SCATTERS, base.said.processes, strict=True):
        tell("model", f"the trees: process alone, scatter {scatter}", base.residuals(curves))
    tell("model", "smoothing of the trees", _stairs(base, settings))
    equal = Trial(replace(sample, weight=np.ones(len(sample))), settings)
    tell("model", "weights of less certain sheets", equal.residuals(equal.blended()))
    size = np.log(charge(table))
    raw = Trial(replace(sample, target=sample.target + size[sample.sheet]), settings)
    tell("model", "size: torque as it stands", raw.residuals(raw.blended()))
    tell("model", "filling of missing fields", _unfilled(builds, pulls, settings))
    for name, columns in _columns(table).items():
        tell_table("features", name, table.assign(**dict.fromkeys(columns, np.nan)))
    for name, fields in GROUPS.items():
        poorer = _without(builds, fields)
        stays = ", ".join(field for field in fields if field in _KEPT)
        tell_table(
            "fields", f"{name} (but {stays})" if stays else name, feature_table.fit(poorer).table
        )
    return pd.DataFrame(rows)


def _stairs(base: Trial, settings: Settings) -> Floats:
    """Return residuals of the blend with trees that are not smoothed."""
    sample, points = base.sample, len(base.speeds)
    rough = np.zeros_like(base.said.trees)
    for number in range(_FOLDS):
        out = base.fold == number
        trees = fit_trees(sample.part(~out), settings)
        builds = int(out.sum())
        matrix = readings(
            sample.table[out], np.repeat(np.arange(builds), points), np.tile(base.speeds, builds)
        )
        rough[out] = trees.predict(matrix).reshape(builds, points)
    said = HeldOutCurves(rough, base.said.processes)
    return base.residuals(said.blended(choose(sample, base.speeds, said)))


def _unfilled(builds: pd.DataFrame, pulls: pd.DataFrame, settings: Settings) -> Floats:
    raw = engineered_features.numbers(builds)
    table = engineered_features.engineer(raw).set_axis(pd.Index(builds["sheet_id"]), axis=0)
    trial = Trial(sample_of(builds, pulls, table), settings)
    return trial.residuals(trial.blended())


def limits(builds: pd.DataFrame, pulls: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return how wide 90 % limits are at equal coverage, % of torque, without parts of them."""
    table = feature_table.fit(builds).table
    sample = sample_of(builds, pulls, table)
    base = Trial(sample, settings)
    curves = base.blended()
    residual = base.residuals(curves)
    trees = fit_trees(sample, settings)
    gain = {name: helped**0.5 for name, helped in gain_of(trees, sample).items()}
    reference = novelty.fit(builds, table, gain, base.shop)
    trial = expected_error.Trial(table, novelty.held_out_distances(reference, table), residual)
    width = expected_error.held_out(sample, base.fold, [trial], base.speeds, settings, THREADS)
    own = smooth_curves.at(width, base.speeds, sample.sheet, sample.rpm)
    flat = np.ones(len(residual))
    fold = hold_out.folds(sample.engines, _FOLDS)
    familiar = hold_out.curves(sample, fold, base.speeds, settings,
                               choose(sample, base.speeds, base.said), THREADS, iter)  # fmt: skip
    known = base.residuals(familiar)
    mean = known_shops.sheet_means(known, sample.sheet, len(sample))
    _, offset = known_shops.offsets(mean, base.shop)
    rows = []
    for name, error, scale in (
        ("limits as they are", residual, own),
        ("learned width: the same everywhere", residual, flat),
        ("known shop, as it is", known - offset[sample.sheet], own),
        ("known shop, how it reads", known, own),
    ):
        scores = conformal.group_scores(np.abs(error) / scale, sample.sheet, base.shop)
        factor = scores.threshold(_LEVEL)
        wide = 100 * 2 * (factor or np.nan) * float(np.mean(scale))
        rows.append({"left_out": name, "width": round(wide, 3)})
        print(f"{name:45} {wide:.2f} %", flush=True)
    return pd.DataFrame(rows)


def main() -> None:
    """Write ``ablation.csv`` and ``ablation_limits.csv``."""
    parser = argparse.ArgumentParser()
    parser.add_argument("curated", type=Path)
    parser.add_argument("--out", type=Path, default=_RESULTS)
    given = parser.parse_args()
    builds, pulls = data_set.load(given.curated)
    for name, made in (("ablation", ablate), ("ablation_limits", limits)):
        table = made(builds, pulls, Settings())
        table.to_csv(given.out / f"{name}.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
