"""The Gaussian process: a smooth model of torque over the features of a build.

Trees cut the space of builds into boxes; the process is smooth, so their errors differ. Its kernel
is a rational quadratic over standardised features, weighted by their gain in the trees, plus a
linear term, times a squared exponential over the logarithm of engine speed. It uses a subset of the
readings as inducing points (Quiñonero-Candela and Rasmussen, A unifying view of sparse approximate
Gaussian process regression, 2005: subset of regressors), so its cost is proportional to the number
of sheets. Errors of the readings of one sheet are correlated, and so are those of the sheets of one
shop: the first are whitened, the second are fitted as an offset of the shop that is not predicted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from pullbook.pipeline.features.engineered_features import CATEGORIES
from pullbook.pipeline.features.feature_table import GIVEN
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from pullbook.model.learning.sample import Floats, Ints, Sample

#: Length scales: over features, times the square root of their number; over the logarithm of speed.
_LENGTH, _SPEED_LENGTH = 1.5, 0.4
#: Share of the covariance that is the same at all engine speeds.
_COMMON = 0.3
#: Standard deviations on the logarithmic scale: of the curve, a reading, and a shop.
_CURVE, _READING, _SHOP = 0.15, 0.02, 0.02
#: Standard deviations of a sheet to try: for complete sheets, and for sheets with few fields.
SCATTERS = (0.025, 0.1)
#: Variances that the build does not explain: of a sheet, and of a shop.
SHEET_VARIANCE, SHOP_VARIANCE = SCATTERS[0] ** 2, _SHOP**2
#: Readings used of each sheet, and inducing points.
_PER_SHEET, _INDUCING = 6, 1000
#: Features are clipped so many standard deviations beyond the data.
_BEYOND = 1.0
#: Smallest weight of a feature, as a share of the average one.
_FLOOR = 0.02
_JITTER = 1e-6
_SHEETS_AT_ONCE = 2000


@dataclass(frozen=True, slots=True)
class Process:
    """A fitted process.

    Attributes
    ----------
    columns, levels
        Column of the table behind each input, and the choice it indicates; -1 for a number.
    center, scale
        What is subtracted from each input, and what the difference is multiplied by.
    low, high
        Limits of each scaled input.
    places, speeds
        Inputs, shape (points, inputs), and logarithms of rev/min of the inducing points.
    weights
        Weights of those points, shape (points,).
    level
        Mean of the target.
    """

    columns: tuple[str, ...]
    levels: Ints
    center: Floats
    scale: Floats
    low: Floats
    high: Floats
    places: Floats
    speeds: Floats
    weights: Floats
    level: float

    def inputs(self, table: pd.DataFrame) -> Floats:
        """Return the inputs of builds, shape (builds, inputs); missing values take the mean."""
        raw = _raw(table, self.columns, self.levels)
        scaled = np.nan_to_num((raw - self.center) * self.scale, nan=0.0)
        inside: Floats = np.clip(scaled, self.low, self.high)
        return inside

    def covariance(self, a: pd.DataFrame, b: pd.DataFrame) -> Floats:
        """Return the covariance of builds at one engine speed, shape (a, b)."""
        covariance: Floats = _CURVE**2 * _over_builds(self.inputs(a), self.inputs(b))
        return covariance

    def curves(self, table: pd.DataFrame, speeds: Floats) -> Floats:
        """Return the logarithm of torque per unit of charge, shape (builds, speeds)."""
        over_speed = self.weights[:, None] * _over_speed(self.speeds, np.log(speeds))
        inputs = self.inputs(table)
        parts = [
            _over_builds(inputs[at : at + _SHEETS_AT_ONCE], self.places) @ over_speed
            for at in range(0, len(inputs), _SHEETS_AT_ONCE)
        ]
        curves: Floats = self.level + np.vstack(parts)
        return curves


def _raw(table: pd.DataFrame, columns: tuple[str, ...], levels: Ints) -> Floats:
    made = np.empty((len(table), len(columns)))
    for at, (name, level) in enumerate(zip(columns, levels.tolist(), strict=True)):
        column = table[name].to_numpy(dtype=float)
        made[:, at] = column if level < 0 else column == level
    return made


def _over_builds(a: Floats, b: Floats) -> Floats:
    """Return the correlation of builds, shape (a, b), from their inputs."""
    inputs = max(1, a.shape[1])
    linear = a @ b.T
    covariance: Floats = linear * (-2.0)
    covariance += np.sum(a**2, axis=1)[:, None]
    covariance += np.sum(b**2, axis=1)[None, :]
    np.maximum(covariance, 0.0, out=covariance)  # the squared distance
    covariance *= 0.5 / (_LENGTH**2 * inputs)
    covariance += 1.0
    np.reciprocal(covariance, out=covariance)
    linear /= inputs
    covariance += linear
    return covariance


def _over_speed(a: Floats, b: Floats) -> Floats:
    distance = (a[:, None] - b[None, :]) / _SPEED_LENGTH
    covariance: Floats = _COMMON + (1 - _COMMON) * np.exp(-0.5 * distance**2)
    return covariance


def fit(
    sample: Sample, gain: Mapping[str, float], scatters: Sequence[float], seed: int
) -> list[Process]:
    """Fit one process to a sample for each assumed scatter of a sheet.

    Parameters
    ----------
    sample
        The sheets to fit to.
    gain
        Gain of the trees from each column of the table.
    scatters
        Standard deviations of a sheet, on the logarithmic scale; from `SCATTERS`.
    seed
        Seed of the choice of inducing points.

    """
    process = _inputs_of(sample, gain)
    inputs = process.inputs(sample.table)
    rows = sample.few_of_each(_PER_SHEET)
    sheet, speed = sample.sheet[rows], np.log(sample.rpm[rows])
    level = float(sample.target[rows].mean())
    target = sample.target[rows] - level
    rng = np.random.default_rng(seed)
    chosen = np.sort(rng.choice(len(rows), min(_INDUCING, len(rows)), replace=False))
    places, speeds = inputs[sheet[chosen]], speed[chosen]
    prior = _CURVE**2 * _over_builds(places, places) * _over_speed(speeds, speeds)
    root = np.linalg.cholesky(prior + _JITTER * np.mean(np.diag(prior)) * np.eye(len(chosen)))
    _, shop = np.unique(sample.shops, return_inverse=True)
    columns = len(chosen) + int(shop.max()) + 1
    gram = [np.eye(columns) for _ in scatters]
    moment = [np.zeros(columns) for _ in scatters]
    whiten = [_Whitening(sample, sheet, scatter) for scatter in scatters]
    for first in range(0, len(sample), _SHEETS_AT_ONCE):
        part = slice(*np.searchsorted(sheet, [first, first + _SHEETS_AT_ONCE]))
        across = _CURVE**2 * _over_builds(inputs[sheet[part]], places)
        across *= _over_speed(speed[part], speeds)
        design = np.zeros((len(across), columns))
        design[:, : len(chosen)] = solve_triangular(root, across.T, lower=True).T
        design[np.arange(len(design)), len(chosen) + shop[sheet[part]]] = _SHOP
        for at, whitened in enumerate(whiten):
            white = whitened(design, sheet[part])
            gram[at] += white.T @ white
            moment[at] += white.T @ whitened(target[part, None], sheet[part])[:, 0]
    fitted = []
    for square, right in zip(gram, moment, strict=True):
        found = cho_solve(cho_factor(square), right)[: len(chosen)]
        weights = _CURVE**2 * solve_triangular(root.T, found, lower=False)
        fitted.append(replace(process, places=places, speeds=speeds, weights=weights, level=level))
    return fitted


class _Whitening:
    """Removes the correlation of the errors of one sheet's readings.

    Their covariance is compound symmetric; values are multiplied by the root of its inverse. A
    sheet of smaller weight has a larger scatter.
    """

    def __init__(self, sample: Sample, sheet: Ints, scatter: float) -> None:
        self._count = np.bincount(sheet, minlength=len(sample)).astype(float)
        variance = scatter**2 / np.maximum(sample.weight, _FLOOR)
        self._share = 1 - _READING / np.sqrt(_READING**2 + self._count * variance)

    def __call__(self, values: Floats, sheet: Ints) -> Floats:
        """Return the values, shape (readings, columns), of whole sheets whitened."""
        whole, at = np.unique(sheet, return_inverse=True)
        starts = np.searchsorted(sheet, whole)
        mean = np.add.reduceat(values, starts, axis=0) / self._count[whole, None]
        white: Floats = (values - (self._share[whole, None] * mean)[at]) / _READING
        return white


def _inputs_of(sample: Sample, gain: Mapping[str, float]) -> Process:
    """Return a process with its inputs defined and no weights yet."""
    columns, levels = [], []
    for name in map(str, sample.table.columns):
        if name.startswith(GIVEN):
            continue
        choices = range(len(FIELDS[name].choices)) if name in CATEGORIES else (-1,)
        columns += [name] * len(choices)
        levels += list(choices)
    raw = _raw(sample.table, tuple(columns), np.array(levels))
    known = np.isfinite(raw)
    raw[~known] = np.nan
    seen = known.any(axis=0)
    center, spread = np.zeros(len(columns)), np.zeros(len(columns))
    center[seen], spread[seen] = np.nanmean(raw[:, seen], axis=0), np.nanstd(raw[:, seen], axis=0)
    keep = np.flatnonzero(spread > 1e-9 * np.maximum(1.0, np.abs(center)))
    helped = np.array([gain.get(columns[at], 0.0) for at in keep])
    relevance = np.sqrt(helped + _FLOOR / max(1, len(gain)))
    relevance /= np.sqrt(np.mean(relevance**2)) if len(keep) else 1.0
    scale = relevance / spread[keep]
    scaled = (raw[:, keep] - center[keep]) * scale
    beyond = _BEYOND * relevance
    empty = np.empty(0)
    return Process(
        columns=tuple(columns[at] for at in keep),
        levels=np.array(levels, dtype=np.int64)[keep],
        center=center[keep],
        scale=scale,
        low=np.nanmin(scaled, axis=0) - beyond,
        high=np.nanmax(scaled, axis=0) + beyond,
        places=empty[None],
        speeds=empty,
        weights=empty,
        level=0.0,
    )
