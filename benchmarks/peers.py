"""What the model is held against: other ways to predict a curve from the same sheets.

Each peer learns from the same features and the same target as the model (logarithm of torque for
each cubic inch of charge), with settings a careful user would choose; the plain one learns from the
fields as they stand on the sheet. A peer says a curve and, if it can, how wide it thinks it may err
below and above; one that cannot says the same width everywhere.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from catboost import CatBoostRegressor
from lightgbm import LGBMRegressor
from ngboost import NGBRegressor
from quantile_forest import RandomForestQuantileRegressor
from sklearn.decomposition import PCA
from sklearn.ensemble import HistGradientBoostingRegressor
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel
from sklearn.linear_model import RidgeCV
from sklearn.preprocessing import StandardScaler
from sklearn.tree import DecisionTreeRegressor
from xgboost import XGBRegressor

from pullbook.model.evaluation import rules_of_thumb
from pullbook.model.learning import smooth_curves
from pullbook.model.learning.curve_model import grid_of
from pullbook.model.learning.sample import charge, readings
from pullbook.pipeline.features.engineered_features import CATEGORIES
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Callable

    from pullbook.model.learning.sample import Floats, Sample

#: Settings that the boosted peers share: as many slow small trees as the model's own.
_ROUNDS, _RATE = 600, 0.05
_TAILS = (0.05, 0.95)
_COMPONENTS = 6
_FEWER_READINGS = 8  # of a sheet, for the peers that learn slowly
_FEW = 600  # sheets that the Gaussian process's scales are chosen on
_SMALL = 1e-4


@dataclass(frozen=True, slots=True)
class Data:
    """Sheets to learn from or to be asked about: as a sample, and as they were curated."""

    sample: Sample
    builds: pd.DataFrame

    def part(self, keep: np.ndarray) -> Data:
        """Return some of the sheets."""
        return Data(self.sample.part(keep), self.builds[keep].reset_index(drop=True))

    def matrix(self) -> Floats:
        """Return the features of every reading, engine speed first."""
        return readings(self.sample.table, self.sample.sheet, self.sample.rpm)


class Answer(NamedTuple):
    """What a peer says of readings: the logarithm of torque for each cubic inch of charge.

    The truth may lie so far below and above it; limits are widened by a factor, or, where they are
    ``additive`` (quantiles: conformalised quantile regression), by an amount.
    """

    centre: Floats
    below: Floats
    above: Floats
    additive: bool = False


def _same_width(centre: Floats) -> Answer:
    return Answer(centre, np.ones(len(centre)), np.ones(len(centre)))


def _limits(centre: Floats, low: Floats, high: Floats) -> Answer:
    return Answer(centre, centre - low, high - centre, additive=True)


# --- rules of thumb -------------------------------------------------------------------


def mean_per_cubic_inch(data: Data, _seed: int) -> Callable[[Data], Answer]:
    """The mean torque per cubic inch at each speed."""
    speeds = grid_of(data.sample)
    mean = rules_of_thumb.mean_per_cubic_inch(data.sample, speeds)

    def say(asked: Data) -> Answer:
        one = asked.sample
        there = smooth_curves.at(mean[None, :], speeds, np.zeros_like(one.sheet), one.rpm)
        return _same_width(there - _pressure(asked)[one.sheet])

    return say


def _pressure(data: Data) -> Floats:
    """Return the logarithm of charge over displacement, by sheet."""
    table = data.sample.table
    more: Floats = np.log(charge(table) / table["displacement"].to_numpy(float))
    return more


def nearest_sheet(data: Data, _seed: int) -> Callable[[Data], Answer]:
    """The nearest sheet, by standardised features, scaled by displacement."""
    speeds = grid_of(data.sample)
    scaled, transform = _standardised(data)

    def say(asked: Data) -> Answer:
        one = asked.sample
        apart = np.square(transform(asked)[:, None, :] - scaled[None]).sum(axis=2)
        curves = rules_of_thumb.nearest_sheet(data.sample, apart.argmin(axis=1), speeds)
        return _same_width(
            smooth_curves.at(curves, speeds, one.sheet, one.rpm) - _pressure(asked)[one.sheet]
        )

    return say


# --- functional components ------------------------------------------------------------


def _standardised(data: Data) -> tuple[Floats, Callable[[Data], Floats]]:
    """Return features as a linear method wants them: choices as columns, no gaps, one scale."""
    names = list(data.sample.table.columns)
    choices = {name: np.unique(_known(data, name)) for name in names if name in CATEGORIES}

    def raw(of: Data) -> Floats:
        parts = []
        for name in names:
            column = of.sample.table[name].to_numpy(float)[:, None]
            parts.append(column == choices[name] if name in choices else column)
        return np.hstack(parts).astype(float)

    made = raw(data)
    middle = np.nan_to_num(np.nanmean(made, axis=0))
    scaler = StandardScaler().fit(np.where(np.isnan(made), middle, made))

    def transform(of: Data) -> Floats:
        there = raw(of)
        scaled: Floats = np.clip(scaler.transform(np.where(np.isnan(there), middle, there)), -4, 4)
        return scaled

    return transform(data), transform


def _known(data: Data, name: str) -> Floats:
    column = data.sample.table[name].to_numpy(float)
    return column[~np.isnan(column)]


def _components(data: Data) -> tuple[Floats, PCA, Floats]:
    """Return scores of each sheet's curve, the components, and the grid they stand on."""
    speeds = grid_of(data.sample)[::2]
    one = data.sample
    starts = np.searchsorted(one.sheet, np.arange(len(one) + 1))
    curves = np.empty((len(one), len(speeds)))
    typical = _typical(one, speeds)
    for row in range(len(one)):
        rows = slice(starts[row], starts[row + 1])
        order = np.argsort(one.rpm[rows], kind="stable")
        rpm, target = one.rpm[rows][order], one.target[rows][order]
        above = target - np.interp(rpm, speeds, typical)
        curves[row] = typical + np.interp(speeds, rpm, above)  # beyond its sweep like the others
    pca = PCA(min(_COMPONENTS, len(one) - 1), random_state=0)
    return pca.fit_transform(curves), pca, speeds


def _typical(sample: Sample, speeds: Floats) -> Floats:
    place = np.clip(np.searchsorted(speeds, sample.rpm), 0, len(speeds) - 1)
    count = np.bincount(place, minlength=len(speeds))
    total = np.bincount(place, sample.target, len(speeds))
    seen = np.flatnonzero(count)
    return np.interp(speeds, speeds[seen], total[seen] / count[seen])


def _curves_at(curves: Floats, speeds: Floats, sample: Sample) -> Floats:
    return smooth_curves.at(curves, speeds, sample.sheet, sample.rpm)


def ridge_on_components(data: Data, _seed: int) -> Callable[[Data], Answer]:
    """Ridge regression of the scores of functional components."""
    scores, pca, speeds = _components(data)
    scaled, transform = _standardised(data)
    ridge = RidgeCV(alphas=np.logspace(-1, 4, 11)).fit(scaled, scores)

    def say(asked: Data) -> Answer:
        curves = pca.inverse_transform(ridge.predict(transform(asked)))
        return _same_width(_curves_at(curves, speeds, asked.sample))

    return say


def process_on_components(data: Data, seed: int) -> Callable[[Data], Answer]:
    """A Gaussian process for each score of functional components."""
    scores, pca, speeds = _components(data)
    scaled, transform = _standardised(data)
    rng = np.random.default_rng(seed)
    few = rng.permutation(len(scaled))[:_FEW]
    length = float(np.sqrt(scaled.shape[1]))
    fitted, scales = [], scores.std(axis=0)
    for number, scale in enumerate(scales):
        kernel = ConstantKernel(1.0) * RBF(2 * length, (0.2 * length, 50 * length)) + WhiteKernel(
            0.3, (1e-3, 10)
        )
        chosen = GaussianProcessRegressor(kernel, random_state=0)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a component that is noise alone sits at a bound
            chosen.fit(scaled[few], scores[few, number] / scale)
        whole = GaussianProcessRegressor(chosen.kernel_, optimizer=None)
        fitted.append(whole.fit(scaled, scores[:, number] / scale))

    def say(asked: Data) -> Answer:
        there = transform(asked)
        told = [one.predict(there, return_std=True) for one in fitted]
        middle = np.column_stack([mean for mean, _ in told]) * scales
        wide = np.column_stack([sd for _, sd in told]) * scales
        curves = pca.inverse_transform(middle)
        width = np.sqrt(wide**2 @ pca.components_**2)
        one = asked.sample
        half = np.maximum(_curves_at(width, speeds, one), _SMALL)
        return Answer(_curves_at(curves, speeds, one), half, half)

    return say


# --- trees, engine speed as a column ----------------------------------------------------


def _by_reading(
    fit: Callable[[Floats, Floats, Floats, int], Callable[[Floats], Answer]],
    most: int | None = None,
) -> Callable[[Data, int], Callable[[Data], Answer]]:
    """Return a peer that learns readings as rows, at most so many of a sheet."""

    def learn(data: Data, seed: int) -> Callable[[Data], Answer]:
        one, matrix = data.sample, data.matrix()
        weight = one.reading_weight()
        keep = np.ones(len(one.rpm), dtype=bool) if most is None else _some(one, most)
        say = fit(matrix[keep], one.target[keep], weight[keep], seed)
        return lambda asked: say(asked.matrix())

    return learn


def _some(sample: Sample, most: int) -> np.ndarray:
    starts = np.searchsorted(sample.sheet, np.arange(len(sample) + 1))
    keep = np.zeros(len(sample.rpm), dtype=bool)
    for first, end in pairwise(starts.tolist()):
        keep[np.unique(np.linspace(first, end - 1, most).round().astype(int))] = True
    return keep


def _hist(x: Floats, y: Floats, w: Floats, seed: int) -> Callable[[Floats], Answer]:
    shared: dict[str, Any] = {
        "max_iter": _ROUNDS, "learning_rate": _RATE, "max_leaf_nodes": 15, "min_samples_leaf": 40,
        "early_stopping": False, "random_state": seed,
    }  # fmt: skip
    told = ~np.isnan(x).all(axis=0)  # a column of gaps alone stops its binning
    x = x[:, told]
    fitted = HistGradientBoostingRegressor(**shared).fit(x, y, w)
    return lambda asked: _same_width(fitted.predict(asked[:, told]))


def _catboost(x: Floats, y: Floats, w: Floats, seed: int) -> Callable[[Floats], Answer]:
    fitted = CatBoostRegressor(
        iterations=_ROUNDS, learning_rate=_RATE, depth=6, loss_function="RMSEWithUncertainty",
        random_seed=seed, verbose=False, allow_writing_files=False,
    ).fit(x, y, sample_weight=w)  # fmt: skip

    def say(asked: Floats) -> Answer:
        told = fitted.predict(asked)
        half = np.sqrt(np.maximum(told[:, 1], _SMALL**2))
        return Answer(told[:, 0], half, half)

    return say


def _ngboost(x: Floats, y: Floats, w: Floats, seed: int) -> Callable[[Floats], Answer]:
    tree = DecisionTreeRegressor(max_depth=4, min_samples_leaf=30)
    fitted = NGBRegressor(
        Base=tree, n_estimators=300, learning_rate=0.05, minibatch_frac=0.5, col_sample=0.3,
        random_state=seed, verbose=False,
    ).fit(np.nan_to_num(x, nan=-1.0), y, sample_weight=w)  # fmt: skip

    def say(asked: Floats) -> Answer:
        told = fitted.pred_dist(np.nan_to_num(asked, nan=-1.0))
        return Answer(told.loc, told.scale, told.scale)

    return say


def _quantile_forest(x: Floats, y: Floats, w: Floats, seed: int) -> Callable[[Floats], Answer]:
    fitted = RandomForestQuantileRegressor(
        n_estimators=300, min_samples_leaf=5, max_features=0.4, random_state=seed, n_jobs=2
    ).fit(np.nan_to_num(x, nan=-1.0), y, sample_weight=w)

    def say(asked: Floats) -> Answer:
        told = fitted.predict(np.nan_to_num(asked, nan=-1.0), quantiles=[_TAILS[0], 0.5, _TAILS[1]])
        return _limits(told[:, 1], told[:, 0], told[:, 2])

    return say


def _xgboost(x: Floats, y: Floats, w: Floats, seed: int) -> Callable[[Floats], Answer]:
    fitted = XGBRegressor(
        n_estimators=_ROUNDS, learning_rate=_RATE, max_depth=5, min_child_weight=20,
        subsample=0.7, colsample_bytree=0.4, random_state=seed, n_jobs=2,
    ).fit(x, y, sample_weight=w)  # fmt: skip
    return lambda asked: _same_width(fitted.predict(asked).astype(float))


def _lightgbm(seed: int, **more: Any) -> Any:
    settings: dict[str, Any] = {"n_estimators": _ROUNDS, "learning_rate": _RATE, "num_leaves": 15,
                "min_child_samples": 40, "subsample": 0.7, "subsample_freq": 1,
                "colsample_bytree": 0.4, "random_state": seed, "verbosity": -1}  # fmt: skip
    return LGBMRegressor(**settings | more)


def _lightgbm_rpm(x: Floats, y: Floats, w: Floats, seed: int) -> Callable[[Floats], Answer]:
    fitted = _lightgbm(seed).fit(x, y, sample_weight=w)
    return lambda asked: _same_width(_quiet(fitted, asked))


def _quantile_regression(x: Floats, y: Floats, w: Floats, seed: int) -> Callable[[Floats], Answer]:
    low, middle, high = (
        _lightgbm(seed, objective="quantile", alpha=share).fit(x, y, sample_weight=w)
        for share in (_TAILS[0], 0.5, _TAILS[1])
    )
    return lambda asked: _limits(*(_quiet(one, asked) for one in (middle, low, high)))


def _quiet(fitted: Any, asked: Floats) -> Floats:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that the columns have no names
        told: Floats = fitted.predict(asked)
    return told


def lightgbm_as_it_stands(data: Data, seed: int) -> Callable[[Data], Answer]:
    """LightGBM on the fields of the sheets and raw torque, as one would try first."""
    choices = {
        name: {choice: place for place, choice in enumerate(FIELDS[name].choices)}
        for name in BUILD_FIELDS
        if FIELDS[name].choices
    }

    def matrix(of: Data) -> Floats:
        parts = [
            of.builds[name].map(choices[name]).astype(float) if name in choices
            else of.builds[name].astype(float)
            for name in BUILD_FIELDS
        ]  # fmt: skip
        fields = np.column_stack([part.to_numpy(float, na_value=np.nan) for part in parts])
        return np.column_stack([of.sample.rpm, fields[of.sample.sheet]])

    def size(of: Data) -> Floats:
        return np.log(charge(of.sample.table))[of.sample.sheet]

    torque = np.exp(data.sample.target + size(data))
    fitted = _lightgbm(seed).fit(matrix(data), torque)

    def say(asked: Data) -> Answer:
        least = float(torque.min()) / 2
        told = np.log(np.maximum(_quiet(fitted, matrix(asked)), least))
        return _same_width(told - size(asked))

    return say


#: Name of each peer and how it learns.
PEERS: dict[str, Callable[[Data, int], Callable[[Data], Answer]]] = {
    "mean torque per cubic inch": mean_per_cubic_inch,
    "nearest sheet, scaled by size": nearest_sheet,
    "LightGBM, fields and torque as they stand": lightgbm_as_it_stands,
    "LightGBM, rpm as a column": _by_reading(_lightgbm_rpm),
    "XGBoost": _by_reading(_xgboost),
    "HistGradientBoosting": _by_reading(_hist),
    "CatBoost": _by_reading(_catboost),
    "NGBoost": _by_reading(_ngboost, _FEWER_READINGS),
    "quantile forest": _by_reading(_quantile_forest, _FEWER_READINGS),
    "quantile regression by LightGBM": _by_reading(_quantile_regression),
    "ridge on functional components": ridge_on_components,
    "Gaussian process on functional components": process_on_components,
}
