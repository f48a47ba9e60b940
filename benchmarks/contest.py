"""The model beside its peers on the same shops held out: ``make peers``.

Every peer's limits come from the same wrapper: shops held out within what it may learn from, and
the model's own hierarchical thresholds over how far it errs against the width it says. Widths are
also compared at equal coverage: each predictor's limits are scaled so that 90 % of the held-out
readings lie inside.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from circle_data import curated
from peers import PEERS, Answer, Data

from pullbook.model.evaluation import accuracy, forecast_scores
from pullbook.model.evaluation.prediction_errors import LEVEL
from pullbook.model.learning.curve_model import choose, fit_curve, fit_trees, grid_of
from pullbook.model.learning.sample import sample_of
from pullbook.model.learning.settings import Settings, from_mapping
from pullbook.model.limits import conformal
from pullbook.model.prediction.predict import predict
from pullbook.model.training import hold_out
from pullbook.model.training.train_model import THREADS, train
from pullbook.pipeline.curation import data_set
from pullbook.pipeline.demo.shops import Circle
from pullbook.pipeline.features import feature_table

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from pullbook.model.learning.sample import Floats

OWN = "this model"
_RESULTS = Path(__file__).parent / "results"
PARTS, _INNER = 4, 4
SIZES = (50, 100, 200, 400, 800, 1600, 3000)
#: Sheets and shops that the learning curve is drawn from, and the share of shops asked about.
_MANY, _SHOPS, _ASKED = 4400, 60, 0.2
_SLOW = ("NGBoost", "quantile regression by LightGBM")


class TooFewShopsError(ValueError):
    """The shops do not suffice for the levels that predictors are compared at."""


def _threshold(scores: conformal.Scores, level: float) -> float:
    found = scores.threshold(level)
    if found is None:
        raise TooFewShopsError
    return found


def _data(builds: pd.DataFrame, pulls: pd.DataFrame, keep: np.ndarray, other: np.ndarray
          ) -> tuple[Data, Data]:  # fmt: skip
    """Return what may be learned from and what is asked about; the former alone is fitted to."""
    inner, outer = (builds[rows].reset_index(drop=True) for rows in (keep, other))
    features = feature_table.fit(inner)
    made = (features.table, feature_table.make(outer, features.filling))
    first, second = (
        Data(sample_of(own, pulls[pulls["sheet_id"].isin(own["sheet_id"])], table), own)
        for own, table in zip((inner, outer), made, strict=True)
    )
    return first, second


def _shop_of(data: Data) -> np.ndarray:
    return pd.factorize(data.sample.shops)[0]


def score(answer: Answer, value: Floats) -> Floats:
    """Return by what the limits must be widened to hold each value."""
    off = value - answer.centre
    if answer.additive:
        return np.maximum(-off - answer.below, off - answer.above)
    return np.maximum(-off / answer.below, off / answer.above)


def reach(answer: Answer, factor: float) -> tuple[Floats, Floats]:
    """Return how far limits reach below and above the centre."""
    if answer.additive:
        return answer.below + factor, answer.above + factor
    return answer.below * factor, answer.above * factor


def _peer(learn: Callable[[Data, int], Callable[[Data], Answer]], inner: Data, outer: Data
          ) -> tuple[Answer, conformal.Scores]:  # fmt: skip
    shop = _shop_of(inner)
    fold = hold_out.folds(shop, _INNER)
    scores = np.zeros(len(inner.sample.rpm))
    for number in range(int(fold.max()) + 1):
        out = fold == number
        there = inner.part(out)
        said = learn(inner.part(~out), number)(there)
        scores[out[inner.sample.sheet]] = score(said, there.sample.target)
    return learn(inner, 0)(outer), conformal.group_scores(scores, inner.sample.sheet, shop)


def _own(inner: Data, outer: Data, pulls: pd.DataFrame, settings: Settings
         ) -> tuple[Answer, conformal.Scores]:  # fmt: skip
    features = feature_table.fit(inner.builds)
    known = pulls[pulls["sheet_id"].isin(inner.builds["sheet_id"])]
    model = train(inner.builds, known, features, settings)
    found = predict(model, outer.builds, [None] * len(outer.builds))
    one = outer.sample
    centre, width = np.empty(len(one.rpm)), np.empty(len(one.rpm))
    for place, said in enumerate(found):
        rows = one.sheet == place
        centre[rows] = np.log(said.torque(one.rpm[rows]) / said.size)
        width[rows] = said.width(one.rpm[rows])
    if "new shop" not in model.regimes:
        raise TooFewShopsError
    return Answer(centre, width, width), model.regimes["new shop"].point


def _frame(answer: Answer, scores: conformal.Scores, asked: Data) -> pd.DataFrame:
    """Return what `accuracy.by_sheet` wants of one predictor, and how far its limits reach."""
    one = asked.sample
    centre = answer.centre
    frame = pd.DataFrame(
        {
            "sheet_id": np.asarray(one.sheet_ids)[one.sheet],
            "shop": one.shops[one.sheet],
            "rpm": one.rpm,
            "measured": np.exp(one.target),
            "predicted": np.exp(centre),
            "score": score(answer, one.target),
            "below": answer.below,
            "above": answer.above,
            "additive": answer.additive,
        }
    )
    factor = _threshold(scores, LEVEL)
    frame["inside"] = (frame["score"] <= factor).astype(float)
    below, above = reach(answer, factor)
    frame["interval_score"] = 100 * forecast_scores.interval_score(
        centre - below, centre + above, one.target, LEVEL
    )
    quantiles = []
    for share in accuracy.SHARES.tolist():
        below, above = reach(answer, _threshold(scores, abs(2 * share - 1)))
        quantiles.append(centre + (above if share > 0.5 else -below))
    frame["crps"] = 100 * forecast_scores.crps(np.array(quantiles), accuracy.SHARES, one.target)
    return frame


def _figures(readings: pd.DataFrame) -> dict[str, float | str]:
    found: dict[str, float | str] = {}
    for name, (value, low, high) in accuracy.summary(accuracy.by_sheet(readings)).items():
        found |= {
            name: round(value, 3),
            f"{name}_low": round(low, 3),
            f"{name}_high": round(high, 3),
        }
    by_sheet = readings.groupby(["shop", "sheet_id"])["inside"].mean()
    found["inside"] = round(float(by_sheet.groupby("shop").mean().mean()), 4)
    number, sheet = (pd.factorize(readings[name])[0] for name in ("shop", "sheet_id"))
    shop_of = number[np.unique(sheet, return_index=True)[1]]
    shops = int(shop_of.max()) + 1
    level = LEVEL * shops / (shops + 1)  # the held-out share itself, no margin
    pooled = conformal.group_scores(readings["score"].to_numpy(float), sheet, shop_of)
    equal = _threshold(pooled, float(level))
    wide = float((readings["below"] + readings["above"]).mean())
    width = wide + 2 * equal if readings["additive"].all() else wide * equal
    found["width_at_equal_coverage"] = round(100 * width, 3)
    return found


def side_by_side(
    builds: pd.DataFrame, pulls: pd.DataFrame, settings: Settings, names: Sequence[str]
) -> pd.DataFrame:
    """Return a row a predictor: every figure on shops held out, with 90 % limits over shops."""
    fold = hold_out.folds(pd.factorize(builds["shop"])[0], PARTS)
    frames: dict[str, list[pd.DataFrame]] = {name: [] for name in names}
    for number in range(PARTS):
        inner, outer = _data(builds, pulls, fold != number, fold == number)
        for name, own in frames.items():
            start = time.perf_counter()
            answer, scores = (
                _own(inner, outer, pulls, settings) if name == OWN
                else _peer(PEERS[name], inner, outer)
            )  # fmt: skip
            own.append(_frame(answer, scores, outer))
            print(f"part {number + 1}: {name}, {time.perf_counter() - start:.0f} s", flush=True)
    rows = []
    for name, own in frames.items():
        figures = _figures(pd.concat(own, ignore_index=True))
        rows.append({"predictor": name, **figures})
    return pd.DataFrame(rows)


def learning_curve(settings: Settings) -> pd.DataFrame:
    """Return the error, % rms, of each predictor by the number of sheets learned from."""
    builds, pulls, _ = curated(Circle(_SHOPS, _MANY, seed=7))
    shop = pd.factorize(builds["shop"])[0]
    rng = np.random.default_rng(1)
    asked = np.isin(shop, rng.permutation(shop.max() + 1)[: int(_ASKED * (shop.max() + 1))])
    order = rng.permutation(np.flatnonzero(~asked))
    rows = []
    for size in SIZES:
        keep = np.isin(np.arange(len(builds)), order[:size])
        inner, outer = _data(builds, pulls, keep, asked)
        count = int(builds["shop"][keep].nunique())
        row: dict[str, float | int | str] = {"sheets": int(keep.sum()), "shops": count}
        for name in (OWN, *(peer for peer in PEERS if peer not in _SLOW)):
            centre = _own_centre(inner, outer, settings) if name == OWN else (
                PEERS[name](inner, 0)(outer)[0])  # fmt: skip
            one = outer.sample
            square = np.expm1(centre - one.target) ** 2
            by_sheet = np.bincount(one.sheet, square) / np.bincount(one.sheet)
            row[name] = round(100 * float(np.sqrt(by_sheet.mean())), 3)
        print(row, flush=True)
        rows.append(row)
    return pd.DataFrame(rows)


def _own_centre(inner: Data, outer: Data, settings: Settings) -> Floats:
    """Return what the model's curve says, without the limits that take most of its training."""
    sample, one = inner.sample, outer.sample
    speeds = grid_of(sample)
    fold = hold_out.folds(_shop_of(inner), _INNER)
    (told,) = hold_out.predict_held_out(sample, fold, speeds, settings, THREADS, iter)
    blend = choose(sample, speeds, told)
    model = fit_curve(sample, fit_trees(sample, settings), speeds, settings, blend)
    return one.target - hold_out.residuals(one, model.curves(one.table), speeds)


def main() -> None:
    """Write ``peers.csv`` and ``learning_curve.csv``."""
    parser = argparse.ArgumentParser()
    parser.add_argument("curated", type=Path)
    parser.add_argument("--out", type=Path, default=_RESULTS)
    parser.add_argument("--only", choices=["peers", "learning"])
    parser.add_argument("--again", action="append", choices=[OWN, *PEERS],
                        help="Measure this one again and keep the other rows.")  # fmt: skip
    given = parser.parse_args()
    settings = from_mapping({})
    if given.only != "learning":
        builds, pulls = data_set.load(given.curated)
        table = side_by_side(builds, pulls, settings, given.again or [OWN, *PEERS])
        if given.again:
            kept = pd.read_csv(given.out / "peers.csv").set_index("predictor")
            kept.loc[table["predictor"]] = table.set_index("predictor")[kept.columns]
            table = kept.reset_index()
        table.to_csv(given.out / "peers.csv", index=False, lineterminator="\n")
        print(table[["predictor", "rms", "crps", "inside", "width_at_equal_coverage"]].to_string())
    if given.only != "peers":
        table = learning_curve(settings)
        table.to_csv(given.out / "learning_curve.csv", index=False, lineterminator="\n")
        print(table.T.to_string())


if __name__ == "__main__":
    main()
