"""What each part of the model and each group of features is worth: ``make ablation``.

Every row leaves one thing out and learns again on the same folds. A group of fields says how much
sheets without it lose. All is measured on several invented circles that share nothing; what a part
is worth is the mean over them, with the limits of that mean. Some parts save no error and stay for
what error does not show: smoothing takes the stairs out of a curve, the weights keep copies and
doubtful sheets from counting in full, and the learned width is what makes limits wider where less
is known.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
from circle_data import curated
from scipy import stats

from pullbook.model.answers.explain import GROUPS
from pullbook.model.learning import (
    effect_points,
    effects,
    gaussian_process,
    learn_effects,
    part_kernel,
    smooth_curves,
)
from pullbook.model.learning.curve_model import HeldOutCurves, choose, fit_trees, gain_of, grid_of
from pullbook.model.learning.sample import charge, readings, sample_of
from pullbook.model.learning.settings import Settings
from pullbook.model.limits import conformal, expected_error, known_shops
from pullbook.model.range import novelty
from pullbook.model.training import hold_out
from pullbook.model.training.train_model import THREADS
from pullbook.pipeline.demo import shops
from pullbook.pipeline.features import engineered_features, feature_table
from pullbook.pipeline.features.feature_table import GIVEN
from pullbook.pipeline.parallel.workers import Processes

if TYPE_CHECKING:
    from collections.abc import Callable

    from pullbook.model.learning.effects import Constants, Process, Readings
    from pullbook.model.learning.sample import Floats, Sample
    from pullbook.pipeline.demo.shops import Circle

_FOLDS = 5
#: Fields that an engine's size is made of; they stay.
_KEPT = ("cylinders", "bore", "stroke", "aspiration")
_RESULTS = Path(__file__).parent / "results"
_LEVEL = 0.9
#: Shops whose engines the constants of effects are learned from: half of them.
_HALF = 2


class Row(NamedTuple):
    """A figure of one circle: an error or a width, % of torque, with one thing left out."""

    kind: str
    left_out: str
    value: float


class Trial:
    """One way of learning: held-out trees and processes of a data set."""

    def __init__(self, sample: Sample, settings: Settings, *others: pd.DataFrame) -> None:
        """Hold out and learn; ``others`` are further features of the sheets to predict from."""
        self.sample, self.settings = sample, settings
        self.shop = pd.factorize(sample.shops)[0]
        self.fold = hold_out.folds(self.shop, _FOLDS)
        self.speeds = grid_of(sample)
        self.said, *self.others = hold_out.predict_held_out(
            sample, self.fold, self.speeds, settings, THREADS, iter, *others
        )
        self.blend = choose(sample, self.speeds, self.said)

    def residuals(self, curves: Floats) -> Floats:
        """Return measured less predicted of every reading."""
        return hold_out.residuals(self.sample, curves, self.speeds)

    def error(self, curves: Floats | None = None) -> float:
        """Return the error of curves, those of the blend by default, % rms; sheets weigh alike."""
        chosen = self.said.blended(self.blend) if curves is None else curves
        square = np.expm1(-self.residuals(chosen)) ** 2
        count = np.bincount(self.sample.sheet)
        return 100 * float(np.sqrt(np.mean(np.bincount(self.sample.sheet, square) / count)))


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


def ablate(circle: Circle, settings: Settings) -> list[Row]:
    """Return the errors of one circle: with everything, then with each thing left out."""
    builds, pulls, _ = curated(circle)
    fitted = feature_table.fit(builds)
    table = fitted.table
    sample = sample_of(builds, pulls, table)
    labels = effect_points.labels_of(builds)
    engines = np.where(builds["engine"].notna(), labels[:, -1], -1)
    together = feature_table.make(builds, fitted.filling, engines)
    base = Trial(sample, settings, together)

    def without(changed: pd.DataFrame) -> float:
        return Trial(sample_of(builds, pulls, changed), settings).error()

    said = base.said
    equal = Trial(replace(sample, weight=np.ones(len(sample))), settings)
    size = np.log(charge(table))
    raw = Trial(replace(sample, target=sample.target + size[sample.sheet]), settings)
    rows = [
        Row("all", "nothing", base.error()),
        Row("model", "the process: trees alone", base.error(said.trees)),
        *(
            Row("model", f"the trees: process alone, scatter {scatter}", base.error(curves))
            for scatter, curves in zip(gaussian_process.SCATTERS, said.processes, strict=True)
        ),
        Row("model", "smoothing of the trees", base.error(_stairs(base, settings))),
        Row("model", "weights of less certain sheets", equal.error()),
        Row("model", "size: torque as it stands", raw.error()),
        Row("model", "filling of missing fields", without(_unfilled(builds))),
    ]
    for name, columns in _columns(table).items():
        rows.append(Row("features", name, without(table.assign(**dict.fromkeys(columns, np.nan)))))
    for name, fields in GROUPS.items():
        stays = ", ".join(field for field in fields if field in _KEPT)
        poorer = feature_table.fit(_without(builds, fields)).table
        rows.append(Row("fields", f"{name} (but {stays})" if stays else name, without(poorer)))
    return [*rows, *measured_engines(base, labels, together), *limits(base, builds)]


def _stairs(base: Trial, settings: Settings) -> Floats:
    """Return the curves of the blend with trees that are not smoothed."""
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
    return said.blended(choose(sample, base.speeds, said))


def _unfilled(builds: pd.DataFrame) -> pd.DataFrame:
    """Return features of builds whose missing fields stay missing."""
    raw = engineered_features.numbers(builds)
    return engineered_features.engineer(raw).set_axis(pd.Index(builds["sheet_id"]), axis=0)


def measured_engines(base: Trial, labels: np.ndarray, together: pd.DataFrame) -> list[Row]:
    """Return the errors of one sheet of an engine foretold from another, of shops held out.

    ``together`` are the features with the sheets of each engine completing one another.
    """
    sample, (joint,) = base.sample, base.others
    inputs = part_kernel.inputs_of(together)
    shop = labels[:, 0]
    learned = np.flatnonzero(shop % _HALF == 0)
    again = np.bincount(labels[:, -1])[labels[:, -1]] > 1

    def of(curves: Floats, table: pd.DataFrame) -> Readings:
        start = effect_points.start_at_readings(curves, base.speeds, sample)
        return effect_points.readings_of(sample, inputs.places(table), labels, start)

    known = of(joint.blended(base.blend), together)
    alone = of(base.said.blended(base.blend), sample.table)
    constants = learn_effects.learn(inputs, known.part(learned[again[learned]]), weight=1.0)
    scored = np.flatnonzero(again & (shop % _HALF == 1))

    def error(given: Readings, constants: Constants) -> float:
        return _foretold(given, scored, effects.unconditioned(inputs, constants).conditioned)

    even = replace(constants, variances=np.full_like(constants.variances, 0.02**2))
    return [
        Row("measured", "nothing", error(known, constants)),
        Row("measured", "the effects: measured times the ratio of two predictions",
            _foretold(known, scored, None)),
        Row("measured", "learned constants: every effect of the same size", error(known, even)),
        Row("measured", "sheets of an engine completing one another", error(alone, constants)),
    ]  # fmt: skip


def _foretold(
    given: Readings, scored: np.ndarray, conditioned: Callable[[Readings], Process] | None
) -> float:
    """Return the error, % rms, over pairs of sheets of each engine; engines weigh alike.

    Where the first sheet did not sweep is left out. Without a process the first sheet's distance
    from its starting curve is taken over.
    """
    found = []
    for engine in np.unique(given.labels[scored, -1]):
        own = scored[given.labels[scored, -1] == engine]
        squares = []
        for first in own:
            before = given.part(np.array([first]))
            process = None if conditioned is None else conditioned(before)
            for second in own[own != first]:
                after = given.part(np.array([second]))
                swept = (after.speed >= before.speed[0]) & (after.speed <= before.speed[-1])
                if process is None:
                    shift = np.interp(after.speed, before.speed, before.target - before.start)
                    mean = after.start + shift
                else:
                    mean = process.posterior(after).mean
                squares.append((after.target - mean)[swept] ** 2)
        squares = [one.mean() for one in squares if len(one)]
        if squares:
            found.append(np.mean(squares))
    return 100 * float(np.sqrt(np.mean(found)))


def limits(base: Trial, builds: pd.DataFrame) -> list[Row]:
    """Return how wide 90 % limits are, % of torque, with and without parts of them."""
    sample, table = base.sample, base.sample.table
    residual = base.residuals(base.said.blended(base.blend))
    trees = fit_trees(sample, base.settings)
    gain = {name: helped**0.5 for name, helped in gain_of(trees, sample).items()}
    reference = novelty.fit(builds, table, gain, base.shop)
    distances, _ = novelty.held_out_nearest(reference, table, novelty.NEAREST)
    trial = expected_error.Trial(table, novelty.mean_distance(distances), residual)
    (width,) = expected_error.held_out(
        sample, base.fold, [trial], [trial.distance], base.speeds, base.settings, THREADS
    )
    own = smooth_curves.at(width, base.speeds, sample.sheet, sample.rpm)
    fold = hold_out.folds(sample.engines, _FOLDS)
    familiar = hold_out.curves(sample, fold, base.speeds, base.settings, base.blend, THREADS, iter)
    known = base.residuals(familiar)
    mean = known_shops.sheet_means(known, sample.sheet, len(sample))
    spread = known_shops.variances(mean, base.shop, sample.engines)
    _, offset = known_shops.offsets(
        mean, base.shop, sample.engines, spread, int(base.shop.max()) + 1
    )
    rows = []
    for name, error, scale, groups in (
        ("limits as they are", residual, own, base.shop),
        ("learned width: the same everywhere", residual, np.ones(len(residual)), base.shop),
        ("known shop, as it is", known - offset[sample.sheet], own, sample.engines),
        ("known shop, how it reads", known, own, sample.engines),
    ):
        scores = conformal.group_scores(np.abs(error) / scale, sample.sheet, groups)
        factor = scores.threshold(_LEVEL) or np.nan
        rows.append(Row("width", name, 200 * factor * float(np.mean(scale))))
    return rows


def summary(circles: list[list[Row]]) -> pd.DataFrame:
    """Return the mean over circles of each figure, and of what is added by leaving a thing out.

    ``low`` and ``high`` are 90 % limits of the mean of the latter, by Student's t.
    """
    every = pd.concat([pd.DataFrame(rows).set_index(["kind", "left_out"]) for rows in circles],
                      axis=1)  # fmt: skip
    made = []
    for (kind, name), values in zip(every.index, every.to_numpy(), strict=True):
        whole = every.loc[("measured" if kind == "measured" else "all", "nothing")].to_numpy()
        more = values - whole
        reach = stats.t.ppf(0.95, len(more) - 1) * stats.sem(more) if len(more) > 1 else np.nan
        made.append((kind, name, values.mean(), more.mean(), more.mean() - reach,
                     more.mean() + reach))  # fmt: skip
    names = ["kind", "left_out", "rms", "more", "low", "high"]
    return pd.DataFrame(made, columns=names).round(3)


def of_circle(circle: Circle) -> list[Row]:
    """Return the figures of one circle with the settings as they are."""
    return ablate(circle, Settings())


def main() -> None:
    """Write ``ablation.csv`` and ``ablation_limits.csv``."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--circles", type=int, default=5)
    parser.add_argument("--seed", type=int, default=21)
    parser.add_argument("--out", type=Path, default=_RESULTS)
    given = parser.parse_args()
    found = []
    for rows in Processes(2).each(of_circle, list(shops.circles(given.circles, given.seed))):
        found.append(rows)
        print(f"circle {len(found)} of {given.circles}", flush=True)
    table = summary(found)
    print(table.to_string())
    wide = table["kind"] == "width"
    widths = table[wide].rename(columns={"rms": "width"})[["left_out", "width"]]
    for name, part in (("ablation", table[~wide]), ("ablation_limits", widths)):
        part.to_csv(given.out / f"{name}.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
