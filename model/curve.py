"""The curve: what a build makes at every engine speed, before anything is said of its limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from model import smooth
from model.sample import columns, readings
from model.trees import Trees, fit

if TYPE_CHECKING:
    import pandas as pd

    from model.sample import Floats, Ints, Sample
    from model.settings import Settings


@dataclass(frozen=True, slots=True)
class CurveModel:
    """A fitted curve model.

    Attributes
    ----------
    trees
        Trees over the columns of `sample.readings`.
    speeds
        The grid of engine speeds, rev/min.
    columns
        Names of the columns.
    """

    trees: Trees
    speeds: Floats
    columns: tuple[str, ...]

    def curves(self, table: pd.DataFrame) -> Floats:
        """Return the logarithm of lb-ft per cubic inch on the grid.

        Parameters
        ----------
        table
            Features, a row a build.

        Returns
        -------
        Shape (builds, points of the grid).

        """
        return on_grid(self.trees, self.speeds, table)


def on_grid(trees: Trees, speeds: Floats, table: pd.DataFrame) -> Floats:
    """Return what trees say of builds on a grid of engine speeds, smoothed along it."""
    builds, points = len(table), len(speeds)
    build: Ints = np.repeat(np.arange(builds), points)
    stairs = trees.predict(readings(table, build, np.tile(speeds, builds)))
    return smooth.smooth(stairs.reshape(builds, points))


def grid_of(sample: Sample) -> Floats:
    """Return the grid that spans the readings of a sample."""
    return smooth.grid(float(sample.rpm.min()), float(sample.rpm.max()) + 1.0)


def fit_curve(sample: Sample, speeds: Floats, settings: Settings) -> CurveModel:
    """Fit the curve model to a sample.

    Parameters
    ----------
    sample
        What to learn from.
    speeds
        The grid of engine speeds.
    settings
        Of the training run.

    """
    matrix = readings(sample.table, sample.sheet, sample.rpm)
    names = columns(sample.table)
    text = fit(matrix, sample.target, sample.reading_weight(), names, settings)
    return CurveModel(Trees(text), speeds, tuple(names))
