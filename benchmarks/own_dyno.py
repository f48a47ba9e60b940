"""One shop's own dyno: error and limits by regime over many lone shops: ``make coverage``.

Every lone shop is invented by itself: other families, engines and habits. A model is trained on the
first engines of its pile, at several sizes, and asked about engines that it has never seen: as they
are, and from one measured pull to another of the same engine. Every engine weighs the same, then
every shop; the standard error is that of the mean over shops.

The model it starts from learned from invented engines of the same simulation, so errors with a
start are kinder than with other engines; ``--start none`` leaves it out.
"""

from __future__ import annotations

import argparse
import tempfile
import warnings
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

import pullbook
from pullbook.model.learning.settings import Settings
from pullbook.model.prediction.predict import predict
from pullbook.model.range.tested_speeds import DEFAULT_RPM, speeds_of
from pullbook.model.trained.pulls import of_curated
from pullbook.model.trained.start import Start
from pullbook.model.training.start_from import start_from
from pullbook.model.training.train_model import train
from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.curation.curate import curate
from pullbook.pipeline.curation.read_own import OwnReader
from pullbook.pipeline.demo import sheets, shops
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel.workers import Processes
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT

if TYPE_CHECKING:
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.trained_model import Model

_PILE = 170
_SIZES = (15, 30, 60, 120)
_LEVEL = 0.9
_MOST_ENGINES, _MOST_PAIRS = 30, 4
_SEED = 99
_COLUMNS = (
    "square", "level", "inside", "curve inside", "power inside", "power level", "half-width",
    "outside",
)  # fmt: skip
#: A sweep may end so much before the answered range and still cover it, rev/min.
_SHORT = 250.0


class Pile(NamedTuple):
    """The curated sheets of a lone shop, its readings by sheet, and the engine of each sheet."""

    builds: pd.DataFrame
    pulls: pd.DataFrame
    engines: np.ndarray


def pile(seed: int) -> Pile:
    """Return the sheets of a lone shop, read as its own."""
    rng = np.random.default_rng(seed)
    circle = shops.Circle(1, _PILE, int(rng.integers(2**31)), int(rng.integers(3, 5)))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "sheets"
        sheets.make(folder, circle)
        found = curate([folder], own=OwnReader((folder,)))
    return Pile(found.builds, found.pulls, engines_of(found.builds))


def trained(own: Pile, keep: np.ndarray, *, start: bool) -> Model:
    """Return the model of some of the sheets."""
    builds = own.builds[keep].reset_index(drop=True)
    pulls = own.pulls[own.pulls["sheet_id"].isin(builds["sheet_id"])]
    if not start:
        return train(builds, pulls, feature_table.fit(builds), Settings())
    begin = start_from(pullbook.load().model, builds, pulls)
    features = feature_table.filled(builds, begin.filling)
    return train(builds, pulls, features, Settings(), start=begin)


def score(found: Prediction, pull: pd.DataFrame) -> list[float]:
    """Return the figures of one predicted sheet, as `_COLUMNS`."""
    rpm, torque = (pull[name].to_numpy(dtype=float) for name in ("rpm", "torque"))
    off, width = np.log(torque / found.torque(rpm)), found.width(rpm)
    single, whole = found.factor("point", _LEVEL), found.factor("band", _LEVEL)
    nothing = [float(np.mean(off**2)), *[np.nan] * 6, float(found.standing == "outside")]
    if single is None or whole is None:
        return nothing
    answer = found.answer(speeds_of(*DEFAULT_RPM), _LEVEL)
    low, high = found.answered(speeds_of(*DEFAULT_RPM))
    power = kept = np.nan
    rows = (rpm >= low) & (rpm <= high)
    if answer.peak_power is not None and answer.peak_power.height.low is not None and rows.any():
        top = float((torque * rpm)[rows].max()) / TORQUE_POWER_CONSTANT
        height, kept = answer.peak_power.height, answer.peak_power.level
        covers = rpm.min() <= low + _SHORT and rpm.max() >= high - _SHORT
        power = float((height.low <= top or not covers) and top <= height.high)
    return [
        nothing[0],
        answer.level,
        float(np.mean(np.abs(off) <= single * width)),
        float((np.abs(off) <= whole * width).all()),
        power,
        kept,
        float(np.mean(single * width)),
        nothing[-1],
    ]


def of_shop(seed: int, *, start: bool) -> list[dict[str, object]]:
    """Return the figures of one lone shop, a row for each size and regime."""
    warnings.simplefilter("ignore")
    own = pile(seed)
    rng = np.random.default_rng(seed)
    order = rng.permutation(np.unique(own.engines))
    counts = np.bincount(own.engines)[order]
    pulls = {str(name): rows for name, rows in own.pulls.groupby("sheet_id", sort=False)}
    rows: list[dict[str, object]] = []
    for size in _SIZES:
        first = int(np.searchsorted(np.cumsum(counts), size)) + 1
        model = trained(own, np.isin(own.engines, order[:first]), start=start)
        new, measured = [], []
        for engine in order[first:][-_MOST_ENGINES:]:
            some = own.builds[own.engines == engine]
            asked = some.assign(engine=None)
            found = predict(model, asked, [None] * len(asked))
            new.append(np.nanmean([score(one, pulls[one.sheet_id]) for one in found], axis=0))
            if len(some) > 1 and some["engine"].notna().all():
                measured.append(np.nanmean(_pairs(model, some, pulls, rng), axis=0))
        for regime, figures in (("own dyno", new), ("measured engine", measured)):
            if figures:
                mean = np.nanmean(figures, axis=0)
                rows.append(
                    {"sheets": size, "regime": regime, "shop": seed}
                    | dict(zip(_COLUMNS, mean.tolist(), strict=True))
                )
    return rows


def _pairs(
    model: Model, some: pd.DataFrame, pulls: dict[str, pd.DataFrame], rng: np.random.Generator
) -> list[list[float]]:
    """Return the figures of sheets of one engine, each from another one as measured."""
    scores = []
    for _ in range(min(_MOST_PAIRS, len(some) * (len(some) - 1))):
        before, after = (some.iloc[[at]] for at in rng.permutation(len(some))[:2])
        row = before.iloc[0]
        one = of_curated(row, pulls[str(row["sheet_id"])])
        (found,) = predict(model, after.assign(engine=None), [None], starts=[Start(one, (one,))])
        scores.append(score(found, pulls[found.sheet_id]))
    return scores


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the means over shops, %, with the standard error of what is inside less its level."""
    table = []
    for (size, regime), own in rows.groupby(["sheets", "regime"], sort=False):
        limited = own.dropna(subset=["level"])
        line: dict[str, object] = {
            "sheets": size, "regime": regime, "shops": len(own),
            "error, rms %": round(100 * float(np.sqrt(own["square"].mean())), 2),
            "shops with limits": len(limited),
            "level, %": round(100 * float(limited["level"].mean()), 1),
        }  # fmt: skip
        for name in ("inside", "curve inside", "power inside"):
            line[f"{name}, %"] = round(100 * float(limited[name].mean()), 1)
            level = limited["power level" if name == "power inside" else "level"]
            over = (limited[name] - level).dropna()
            line[f"{name}: standard error"] = round(100 * float(over.sem()), 1)
        line["power: level, %"] = round(100 * float(limited["power level"].mean()), 1)
        line["half-width, %"] = round(100 * float(limited["half-width"].mean()), 1)
        line["outside the data, %"] = round(100 * float(own["outside"].mean()), 1)
        table.append(line)
    return pd.DataFrame(table)


def main() -> None:
    """Print and write the table."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--shops", type=int, default=20)
    parser.add_argument("--start", choices=("invented", "none"), default="invented")
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    seeds = [_SEED + at for at in range(given.shops)]
    work = partial(of_shop, start=given.start == "invented")
    found = [row for rows in Processes(2).each(work, seeds) for row in rows]
    table = summary(pd.DataFrame(found))
    print(table.to_string(index=False))
    if given.out is not None:
        table.to_csv(given.out, index=False)


if __name__ == "__main__":
    main()
