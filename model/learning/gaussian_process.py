"""The Gaussian process: what builds near one another, part by part, lead to expect.

Trees cut the space of builds into boxes; the process runs smoothly through it, and the two err in
different places. Its kernel is a rational quadratic over standardised features, each as relevant as
the trees found it, plus a straight line, times a squared exponential over the logarithm of engine
speed. It rests on a subset of the readings (Quiñonero-Candela and Rasmussen, A unifying view of
sparse approximate Gaussian process regression, 2005: subset of regressors), so its cost grows in
proportion to the sheets. Readings of one sheet err together, and so do sheets of one shop: the
first is whitened out, the second is fitted beside the curve and not predicted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
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

#: Lengths: over features, for each square root of their number; over the logarithm of speed.
_LENGTH, _SPEED_LENGTH = 1.5, 0.4
#: Share of the covariance that all engine speeds have in common.
_COMMON = 0.3
#: Standard deviations on the logarithmic scale: of the curve, a reading, and a shop.
_CURVE, _READING, _SHOP = 0.15, 0.02, 0.02
#: Standard deviations of a sheet that are tried: well-kept sheets, and such as lack most fields.
SCATTERS = (0.025, 0.1)
#: Variances that no build explains: of a sheet, and of what the sheets of a shop have in common.
SHEET_VARIANCE, SHOP_VARIANCE = SCATTERS[0] ** 2, _SHOP**2
#: Readings of a sheet that are learned from, and readings that the process rests on.
_PER_SHEET, _RESTS_ON = 6, 1000
#: A feature is taken to be no further out than the data, and so many standard deviations.
_BEYOND = 1.0
#: What even an irrelevant feature counts for, as a share of an average one.
_FLOOR = 0.02
_JITTER = 1e-6
_SHEETS_AT_ONCE = 2000


@dataclass(frozen=True, slots=True)
class Process:
    """A fitted process.

    Attributes
    ----------
    columns, levels
        Column of the table that each input is made of, and the choice it marks; -1 for a number.
    center, scale
        Of each input: what is subtracted, and what the rest is multiplied by.
    low, high
        Limits of each input, scaled.
    places, speeds
        Inputs, shape (points, inputs), and logarithms of rev/min that the process rests on.
    weights
        Of those points, shape (points,).
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
        """Return the inputs of builds, shape (builds, inputs); what is missing is the mean."""
        raw = _raw(table, self.columns, self.levels)
        scaled = np.nan_to_num((raw - self.center) * self.scale, nan=0.0)
        inside: Floats = np.clip(scaled, self.low, self.high)
        return inside

    def covariance(self, a: pd.DataFrame, b: pd.DataFrame) -> Floats:
        """Return the covariance of builds at one engine speed, shape (a, b)."""
        together: Floats = _CURVE**2 * _over_builds(self.inputs(a), self.inputs(b))
        return together

    def curves(self, table: pd.DataFrame, speeds: Floats) -> Floats:
        """Return the logarithm of torque for each size, shape (builds, speeds)."""
        along = self.weights[:, None] * _over_speed(self.speeds, np.log(speeds))
        inputs = self.inputs(table)
        parts = [
            _over_builds(inputs[at : at + _SHEETS_AT_ONCE], self.places) @ along
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
    """Return the covariance of builds, shape (a, b), for inputs with a number of columns."""
    inputs = max(1, a.shape[1])
    straight = a @ b.T
    covariance: Floats = straight * (-2.0)
    covariance += np.sum(a**2, axis=1)[:, None]
    covariance += np.sum(b**2, axis=1)[None, :]
    np.maximum(covariance, 0.0, out=covariance)  # the square of how far they are apart
    covariance *= 0.5 / (_LENGTH**2 * inputs)
    covariance += 1.0
    np.reciprocal(covariance, out=covariance)
    straight /= inputs
    covariance += straight
    return covariance


def _over_speed(a: Floats, b: Floats) -> Floats:
    apart = (a[:, None] - b[None, :]) / _SPEED_LENGTH
    covariance: Floats = _COMMON + (1 - _COMMON) * np.exp(-0.5 * apart**2)
    return covariance


def fit(
    sample: Sample, gain: Mapping[str, float], scatters: Sequence[float], seed: int
) -> list[Process]:
    """Fit processes to a sample, one for each scatter that a sheet may have.

    Parameters
    ----------
    sample
        What to learn from.
    gain
        How much each column of the table helped the trees.
    scatters
        Standard deviations of a sheet, on the logarithmic scale; of `SCATTERS`.
    seed
        Of the choice of readings that it rests on.

    """
    process = _inputs_of(sample, gain)
    inputs = process.inputs(sample.table)
    rows = _thinned(sample)
    sheet, speed = sample.sheet[rows], np.log(sample.rpm[rows])
    level = float(sample.target[rows].mean())
    target = sample.target[rows] - level
    rng = np.random.default_rng(seed)
    rests = np.sort(rng.choice(len(rows), min(_RESTS_ON, len(rows)), replace=False))
    places, speeds = inputs[sheet[rests]], speed[rests]
    own = _CURVE**2 * _over_builds(places, places) * _over_speed(speeds, speeds)
    root = np.linalg.cholesky(own + _JITTER * np.mean(np.diag(own)) * np.eye(len(rests)))
    _, shop = np.unique(sample.shops, return_inverse=True)
    columns = len(rests) + int(shop.max()) + 1
    gram = [np.eye(columns) for _ in scatters]
    moment = [np.zeros(columns) for _ in scatters]
    whiten = [_Whitening(sample, sheet, scatter) for scatter in scatters]
    for first in range(0, len(sample), _SHEETS_AT_ONCE):
        part = slice(*np.searchsorted(sheet, [first, first + _SHEETS_AT_ONCE]))
        across = _CURVE**2 * _over_builds(inputs[sheet[part]], places)
        across *= _over_speed(speed[part], speeds)
        design = np.zeros((len(across), columns))
        design[:, : len(rests)] = solve_triangular(root, across.T, lower=True).T
        design[np.arange(len(design)), len(rests) + shop[sheet[part]]] = _SHOP
        for at, whitened in enumerate(whiten):
            white = whitened(design, sheet[part])
            gram[at] += white.T @ white
            moment[at] += white.T @ whitened(target[part, None], sheet[part])[:, 0]
    fitted = []
    for square, right in zip(gram, moment, strict=True):
        found = cho_solve(cho_factor(square), right)[: len(rests)]
        weights = _CURVE**2 * solve_triangular(root.T, found, lower=False)
        fitted.append(replace(process, places=places, speeds=speeds, weights=weights, level=level))
    return fitted


class _Whitening:
    """Takes out that the readings of a sheet err together: compound symmetry, root of its inverse.

    A sheet that counts for less scatters more.
    """

    def __init__(self, sample: Sample, sheet: Ints, scatter: float) -> None:
        self._count = np.bincount(sheet, minlength=len(sample)).astype(float)
        variance = scatter**2 / np.maximum(sample.weight, _FLOOR)
        self._share = 1 - _READING / np.sqrt(_READING**2 + self._count * variance)

    def __call__(self, values: Floats, sheet: Ints) -> Floats:
        """Return the values, shape (readings, columns), of whole sheets whitened."""
        own, at = np.unique(sheet, return_inverse=True)
        starts = np.searchsorted(sheet, own)
        mean = np.add.reduceat(values, starts, axis=0) / self._count[own, None]
        white: Floats = (values - (self._share[own, None] * mean)[at]) / _READING
        return white


def _thinned(sample: Sample) -> Ints:
    """Return the places of a few readings of each sheet, spread over its sweep."""
    bounds = np.searchsorted(sample.sheet, np.arange(len(sample) + 1))
    rows = []
    for start, stop in pairwise(bounds.tolist()):
        few = np.linspace(start, stop - 1, min(stop - start, _PER_SHEET))
        rows.append(np.unique(few.round().astype(np.int64)))
    return np.concatenate(rows)


def _inputs_of(sample: Sample, gain: Mapping[str, float]) -> Process:
    """Return a process that knows its inputs and nothing else yet."""
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
