"""The curve model: the torque of a build at every engine speed, without limits.

It blends two models, boosted trees and a Gaussian process. Their errors differ, so the blend has a
smaller error than either. The weights of the blend are chosen on held-out sheets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.learning import gaussian_process, smooth_curves
from pullbook.model.learning.boosted_trees import Trees, fit
from pullbook.model.learning.sample import columns, readings

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pullbook.model.learning.gaussian_process import Process
    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.learning.settings import Settings

#: Builds predicted at once: as many as fit in the cache of a core.
_AT_A_TIME = 512


@dataclass(frozen=True, slots=True)
class Blend:
    """The weights of the two models.

    Attributes
    ----------
    share
        Weight of the trees; the process has the rest.
    scatter
        Scatter of a sheet that the process assumes; one of `gaussian_process.SCATTERS`.
    """

    share: float = 0.5
    scatter: float = gaussian_process.SCATTERS[0]


@dataclass(frozen=True, slots=True)
class CurveModel:
    """A fitted curve model.

    Attributes
    ----------
    trees
        Trees over the columns of `sample.readings`.
    process
        The process over the same features.
    share
        Weight of the trees.
    speeds
        The grid of engine speeds, rev/min.
    columns
        Names of the columns.
    """

    trees: Trees
    process: Process
    share: float
    speeds: Floats
    columns: tuple[str, ...]

    def curves(self, table: pd.DataFrame) -> Floats:
        """Return the logarithm of lb-ft for each cubic inch of charge on the grid.

        Parameters
        ----------
        table
            Features, a row a build.

        Returns
        -------
        Shape (builds, points of the grid).

        """
        of_trees = on_grid(self.trees, self.speeds, table)
        return self.share * of_trees + (1 - self.share) * self.process.curves(table, self.speeds)


def on_grid(trees: Trees, speeds: Floats, table: pd.DataFrame) -> Floats:
    """Return the trees' curves of builds on a grid of engine speeds, smoothed over speed."""
    stairs = np.empty((len(table), len(speeds)))
    for start in range(0, len(table), _AT_A_TIME):
        some = table.iloc[start : start + _AT_A_TIME]
        build: Ints = np.repeat(np.arange(len(some)), len(speeds))
        matrix = readings(some, build, np.tile(speeds, len(some)))
        stairs[start : start + len(some)] = trees.predict(matrix).reshape(-1, len(speeds))
    return smooth_curves.smooth(stairs)


def grid_of(sample: Sample) -> Floats:
    """Return the grid that spans the readings of a sample."""
    return smooth_curves.grid(float(sample.rpm.min()), float(sample.rpm.max()) + 1.0)


def fit_trees(sample: Sample, settings: Settings) -> Trees:
    """Fit the trees of the curve to a sample."""
    matrix = readings(sample.table, sample.sheet, sample.rpm)
    names = columns(sample.table)
    text = fit(matrix, sample.target, sample.reading_weight(), names, settings)
    return Trees(text)


def gain_of(trees: Trees, sample: Sample) -> dict[str, float]:
    """Return the share of the trees' gain due to each column of a sample's readings."""
    return dict(zip(columns(sample.table), trees.gain().tolist(), strict=True))


def fit_curve(
    sample: Sample, trees: Trees, speeds: Floats, settings: Settings, blend: Blend
) -> CurveModel:
    """Fit the curve model to a sample.

    Parameters
    ----------
    sample
        The sheets to fit to.
    trees
        The trees of the curve, fitted to them.
    speeds
        The grid of engine speeds, rev/min.
    settings
        Settings of the training run.
    blend
        The weights of the two models.

    """
    (fitted,) = gaussian_process.fit(sample, gain_of(trees, sample), [blend.scatter], settings.seed)
    return CurveModel(trees, fitted, blend.share, speeds, tuple(columns(sample.table)))


@dataclass(frozen=True, slots=True)
class HeldOutCurves:
    """Curves of sheets from trees and processes that were fitted without them.

    Attributes
    ----------
    trees
        The trees' curves on the grid, shape (sheets, points).
    processes
        The curves of a process for each of `gaussian_process.SCATTERS`, shape (scatters, sheets,
        points).
    """

    trees: Floats
    processes: Floats

    def blended(self, blend: Blend) -> Floats:
        """Return the curves of a blend, shape (sheets, points)."""
        chosen = self.processes[gaussian_process.SCATTERS.index(blend.scatter)]
        curves: Floats = blend.share * self.trees + (1 - blend.share) * chosen
        return curves


def choose(sample: Sample, speeds: Floats, held_out: HeldOutCurves) -> Blend:
    """Return the blend with the smallest error on held-out sheets.

    For each scatter the best share is found by least squares, with the readings' weights of the
    fit.
    """
    weight = sample.reading_weight()
    of_trees = sample.target - smooth_curves.at(held_out.trees, speeds, sample.sheet, sample.rpm)
    tried: list[tuple[float, Blend]] = []
    for scatter, curves in zip(gaussian_process.SCATTERS, held_out.processes, strict=True):
        of_process = sample.target - smooth_curves.at(curves, speeds, sample.sheet, sample.rpm)
        gap = of_process - of_trees
        squares = float(np.sum(weight * gap**2))
        share = float(np.sum(weight * gap * of_process)) / squares if squares > 0 else 0.5
        blend = Blend(min(1.0, max(0.0, share)), scatter)
        error = blend.share * of_trees + (1 - blend.share) * of_process
        tried.append((float(np.sum(weight * error**2)), blend))
    return min(tried, key=_first)[1]


def _first(pair: Sequence[object]) -> float:
    return float(pair[0])  # type: ignore[arg-type]  # the error is first
