"""Where answers fall short, over invented circles that share nothing: ``make weak-spots``.

One seed is an anecdote, so every figure is the mean over several circles of other shops, families
and engines, with its standard deviation from circle to circle. Each circle trains one model without
some of its shops, some of its families and some engines of the rest, and asks it about those.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from circle_data import curated, some_of

from pullbook.model.comparison import compare as compare_builds
from pullbook.model.evaluation import rules_of_thumb
from pullbook.model.evaluation.prediction_errors import score_predictions
from pullbook.model.learning.sample import sample_of
from pullbook.model.prediction.as_measured import as_measured
from pullbook.model.prediction.over_band import Band
from pullbook.model.prediction.predict import predict
from pullbook.model.range.tested_speeds import DEFAULT_RPM, speeds_of
from pullbook.model.trained.pulls import of_curated
from pullbook.model.trained.start import Start
from pullbook.model.training.hold_out import folds
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.demo import dyno_pulls, part_changes, shops
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel.workers import Processes
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from circle_data import Data

    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.demo.shops import Circle

_RESULTS = Path(__file__).parent / "results" / "weak_spots.csv"
#: One in so many shops, families and engines is held out.
_SHOPS, _FAMILIES, _ENGINES = 4, 5, 6
_FUEL = ("compression_ratio", "octane", "timing", "fuel")
_HEADS = ("intake_flow", "exhaust_flow", "port_csa", "port_volume", "intake_valve", "exhaust_valve")
#: A change so small that nobody would call it another engine.
_SMALL = 0.005
_BUILDS_ASKED = 30
#: A sweep may end so much before the answered range and still cover it, rev/min.
_SHORT = 250.0
_BAND = (2500.0, 4500.0)
_CONSTANT_RPM = np.arange(2000.0, 5001.0, 250.0)


def mean_of_groups(values: pd.Series, groups: pd.Series) -> float:
    """Return the mean over groups of the mean of each, so that each group weighs the same."""
    return float(values.groupby(groups.to_numpy()).mean().mean())


def coverage(data: Data, model: Model, groups: str, codes: bool) -> dict[str, float]:
    """Return how many readings, curves and peaks of sheets lie inside 90 % limits, and errors."""
    builds = data.builds
    found = predict(model, builds, builds["shop"].tolist() if codes else [None] * len(builds))
    pulls = data.pulls_by_sheet()
    readings, whole = score_predictions(builds, pulls, found)
    group = pd.Series(
        engines_of(builds) if groups == "engine" else builds[groups].to_numpy(),
        index=builds["sheet_id"],
    )
    of_reading = group[readings["sheet_id"]]
    off = np.log(readings["measured"] / readings["predicted"])
    peaks = [
        _highest(pulls[name], answer)
        for name, answer in zip(builds["sheet_id"], found, strict=True)
    ]
    tops = pd.DataFrame(peaks, columns=["torque", "power"], dtype=float)
    return {
        "readings inside, %": 100 * mean_of_groups(readings["inside_0.9"], of_reading),
        "whole curves inside, %": 100
        * mean_of_groups(whole["band_0.9"].astype(float), group[whole["sheet_id"]]),
        "highest torque inside, %": 100 * mean_of_groups(tops["torque"], group),
        "highest power inside, %": 100 * mean_of_groups(tops["power"], group),
        "half-width of the limits, %": 50 * mean_of_groups(readings["width_0.9"], of_reading),
        "error, rms %": 100 * float(np.sqrt(mean_of_groups(off**2, of_reading))),
    }


def _highest(pull: pd.DataFrame, found: Prediction) -> tuple[float, float]:
    """Return whether the highest measured values lie inside the limits of the peaks answered.

    A sweep that does not cover the answered range can only miss above.
    """
    low, high = found.answered(speeds_of(*DEFAULT_RPM))
    within = pull[pull["rpm"].between(low, high)]
    if within.empty:
        return np.nan, np.nan
    answer = found.answer(speeds_of(*DEFAULT_RPM), 0.9)
    covers = pull["rpm"].min() <= low + _SHORT and pull["rpm"].max() >= high - _SHORT
    tops = within["torque"].max(), (within["torque"] * within["rpm"]).max() / TORQUE_POWER_CONSTANT
    return tuple(  # type: ignore[return-value]
        float((peak.height.low <= top or not covers) and top <= peak.height.high)
        for top, peak in zip(tops, (answer.peak_torque, answer.peak_power), strict=True)
    )


def measured_engines(data: Data, model: Model, seed: int) -> dict[str, float]:
    """Return how well a sheet is foretold from another one of its engine, as measured.

    A change is told apart if zero is outside the 90 % limits of its mean over a band.
    """
    rng = np.random.default_rng(seed)
    builds, pulls = data.builds, data.pulls_by_sheet()
    engine, rows = engines_of(builds), []
    for number in np.unique(engine):
        own = np.flatnonzero(engine == number)
        if len(own) < 2 or builds["engine"].iloc[own].isna().any():
            continue
        before, after = (builds.iloc[[at]] for at in rng.permutation(own)[:2].tolist())
        one = of_curated(before.iloc[0], pulls[str(before["sheet_id"].iloc[0])])
        start = Start(one, (one,))
        both = pd.concat([after, before]).astype(builds.dtypes.to_dict()).assign(engine=None)
        changed, same = predict(model, both, [None, None], starts=[start, start])
        pull = pulls[str(after["sheet_id"].iloc[0])]
        rpm, torque = (pull[name].to_numpy(float) for name in ("rpm", "torque"))
        off, width = np.log(torque / changed.torque(rpm)), changed.width(rpm)
        factor = changed.factor("point", 0.9) or np.nan
        apart = compare_builds.compare(
            (changed, as_measured(same, one)), ("after", "before"), model.pairs, Band(_BAND, _BAND),
            0.9, np.array(_BAND), one_shop=True,
        )  # fmt: skip
        names = [str(row["sheet_id"].iloc[0]).partition("@")[0] for row in (after, before)]
        made = [data.made[name] for name in names]
        rows.append((off, factor * width, apart.told_apart, [m.build for m in made]))
    if not rows:
        return {}
    curves = dyno_pulls.simulate([build for *_, both in rows for build in both])
    means = np.array([curve.at(_CONSTANT_RPM)[:, 0].mean() for curve in curves]).reshape(-1, 2)
    size = 100 * np.abs(means[:, 0] / means[:, 1] - 1)
    told = np.array([row[2] for row in rows])
    found = {
        "readings inside, %": 100 * np.mean([np.mean(np.abs(o) <= w) for o, w, *_ in rows]),
        "half-width of the limits, %": 100 * np.mean([w.mean() for _, w, *_ in rows]),
        "error, rms %": 100 * np.sqrt(np.mean([np.mean(o**2) for o, *_ in rows])),
    }
    for name, low, high in (
        ("nothing changed", -1.0, 0.001), ("2 to 3 %", 2.0, 3.0), ("3 to 5 %", 3.0, 5.0),
        ("over 5 %", 5.0, np.inf), ("over 2 %", 2.0, np.inf),
    ):  # fmt: skip
        of_size = (size > low) & (size <= high)
        share = 100 * told[of_size].mean() if of_size.any() else np.nan
        found[f"told apart where the true change is {name}, %"] = share
    return {name: float(value) for name, value in found.items()}


def without(data: Data, fields: Iterable[str]) -> Data:
    """Return the sheets without some of their fields."""
    blank = {
        name: pd.Series([None] * len(data.builds), dtype=FIELDS[name].dtype) for name in fields
    }
    return data._replace(builds=data.builds.assign(**blank))


def flips(data: Data, model: Model) -> float:
    """Return the share of small changes of a number that change where a build stands, %."""
    builds = data.builds.iloc[:_BUILDS_ASKED]
    before = [one.standing for one in predict(model, builds, [None] * len(builds))]
    changed, of = [], []
    for name in BUILD_FIELDS:
        if FIELDS[name].dtype != "float64":
            continue
        given = builds[name].notna().to_numpy()
        changed.append(builds.assign(**{name: builds[name] * (1 + _SMALL)})[given])
        of += np.flatnonzero(given).tolist()
    asked = pd.concat(changed, ignore_index=True)
    after = [one.standing for one in predict(model, asked, [None] * len(asked))]
    return 100 * float(np.mean([a is not before[i] for a, i in zip(after, of, strict=True)]))


def part_effects(data: Data, model: Model, seed: int) -> dict[str, float]:
    """Return slopes and correlation of predicted and true changes of torque, by part."""
    rng = np.random.default_rng(seed)
    made = [data.made[name] for name in data.builds["sheet_id"]]
    natural = [m for m in made if m.build.values["aspiration"] == "natural"][:_BUILDS_ASKED]
    found = {}
    for part, (_, change) in part_changes.CHANGES.items():
        pairs = []
        for m in natural:
            new = part_changes.copy(m.build)
            change(new, rng, float(rng.uniform(0, 1)))
            pairs += [m.build, new]
        curves = dyno_pulls.simulate(pairs)
        true = np.log(np.array([curve.at(_CONSTANT_RPM)[:, 0] for curve in curves]))
        asked = typed_builds(
            build_files.of_fields({k: v for k, v in b.values.items() if v is not None})
            for b in pairs
        )
        answers = predict(model, asked, [None] * len(asked))
        predicted = np.log(np.array([one.torque(_CONSTANT_RPM) for one in answers]))
        truth, guess = ((x[1::2] - x[::2]).ravel() for x in (true, predicted))
        found[f"{part}: predicted over true change"] = float(guess @ truth / (truth @ truth))
        found[f"{part}: true over predicted change"] = float(guess @ truth / (guess @ guess))
        found[f"{part}: correlation"] = float(np.corrcoef(guess, truth)[0, 1])
    return found


def lone_shop(circle: Circle) -> dict[str, float]:
    """Return what a shop's own sheets give: limits or none, and the error on its other engines."""
    data = curated(circle)
    out = folds(engines_of(data.builds), 3) == 0
    inner, outer = data.part(~out), data.part(out)
    model = inner.train()
    sample = sample_of(outer.builds, outer.pulls, feature_table.make(outer.builds, model.filling))
    answers = predict(model, outer.builds, outer.builds["shop"].tolist())
    guess = np.concatenate(
        [
            np.log(one.torque(sample.rpm[sample.sheet == i]) / one.size)
            for i, one in enumerate(answers)
        ]
    )
    known = sample_of(inner.builds, inner.pulls, feature_table.make(inner.builds, model.filling))
    thumb = np.interp(
        sample.rpm,
        model.speeds,
        rules_of_thumb.mean_per_cubic_inch(known, model.speeds),
    )
    weight = 1.0 / np.bincount(sample.sheet)[sample.sheet]

    def rms(off: np.ndarray) -> float:
        return 100 * float(np.sqrt(np.average(off**2, weights=weight)))

    return {
        "with limits, %": 100.0 * answers[0].calibrated,
        "error, rms %": rms(sample.target - guess),
        "error of torque per cubic inch, rms %": rms(sample.target - thumb),
    }


def of_circle(circle: Circle) -> dict[str, float]:
    """Return every figure of one circle."""
    data = curated(circle)
    rng = np.random.default_rng(circle.seed)
    builds = data.builds
    new_shop = some_of(builds["shop"], _SHOPS, rng)
    new_family = some_of(builds["family"], _FAMILIES, rng)
    engine = engines_of(builds)
    spare = some_of(pd.Series(engine), _ENGINES, rng)
    model = data.part(~(new_shop | new_family | spare)).train()
    known = data.part(spare & ~new_shop & ~new_family)
    new = data.part(new_shop & ~new_family)
    kinds = {
        "new shop": coverage(new, model, "shop", codes=False),
        "known shop": coverage(known, model, "engine", codes=True),
        "new family": coverage(data.part(new_family & new_shop), model, "shop", codes=False),
        "new family, known shop": coverage(
            data.part(new_family & ~new_shop), model, "shop", codes=True
        ),
        "no ratio, octane, timing, fuel": coverage(without(new, _FUEL), model, "shop", codes=False),
        "nothing of the heads": coverage(without(new, _HEADS), model, "shop", codes=False),
        "measured engine": measured_engines(new, model, circle.seed),
        "small changes": {"standing flips, %": flips(new, model)},
        "part effects": part_effects(new, model, circle.seed),
    }
    return {f"{kind}; {name}": value for kind, own in kinds.items() for name, value in own.items()}


def main() -> None:
    """Measure, print, and write the table."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--circles", type=int, default=20)
    parser.add_argument("--lone", type=int, default=10)
    parser.add_argument("--seed", type=int, default=11)
    given = parser.parse_args()
    rows = []
    side_by_side = Processes(2)
    for row in side_by_side.each(of_circle, list(shops.circles(given.circles, given.seed))):
        rows.append(row)
        print(f"circle {len(rows)} of {given.circles}: {len(row)} figures", flush=True)
    lone = list(side_by_side.each(lone_shop, list(shops.lone_shops(given.lone, given.seed))))
    table = pd.concat(
        [_summary(pd.DataFrame(rows)), _summary(pd.DataFrame(lone).add_prefix("lone shop; "))]
    )
    table.index = table.index.str.split("; ", n=1, expand=True).set_names(["kind", "figure"])
    print(table.to_string())
    table.to_csv(_RESULTS, float_format="%.3f")


def _summary(rows: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame({"mean": rows.mean(), "sd": rows.std(), "sets": rows.notna().sum()})


if __name__ == "__main__":
    main()
