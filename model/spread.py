"""How wide the limits must be where: the expected size of the error of a held-out sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from model.curve import on_grid
from model.sample import columns, readings
from model.trees import Trees, fit

if TYPE_CHECKING:
    import pandas as pd

    from model.sample import Floats, Ints, Sample
    from model.settings import Settings

#: Columns that the spread looks at beside the features.
DISTANCE = "distance"
#: No error is taken for smaller than this.
_SMALLEST = 1e-3


def with_distance(table: pd.DataFrame, distance: Floats) -> pd.DataFrame:
    """Return features with the distance to what was tested as a further column."""
    return table.assign(**{DISTANCE: distance})


def fit_spread(sample: Sample, distance: Floats, residual: Floats, settings: Settings) -> Trees:
    """Fit the expected absolute residual of readings.

    Parameters
    ----------
    sample
        Sheets that were held out.
    distance
        Distance of each sheet to sheets of other shops.
    residual
        Of each reading, on the logarithmic scale.
    settings
        Of the training run.

    """
    table = with_distance(sample.table, distance)
    matrix = readings(table, sample.sheet, sample.rpm)
    size = np.maximum(np.abs(residual), _SMALLEST)
    weight = sample.reading_weight()
    return Trees(fit(matrix, size, weight, columns(table), settings, spread=True))


def expected(trees: Trees, speeds: Floats, table: pd.DataFrame, distance: Floats) -> Floats:
    """Return the expected absolute error on the grid, relative, shape (builds, points)."""
    spread = on_grid(trees, speeds, with_distance(table, distance))
    return np.maximum(spread, _SMALLEST)


def held_out(
    sample: Sample,
    fold: Ints,
    distance: Floats,
    residual: Floats,
    speeds: Floats,
    settings: Settings,
) -> Floats:
    """Return the expected error of every sheet from a spread fitted without its fold.

    Shape (sheets, points of the grid).
    """
    spread = np.zeros((len(sample), len(speeds)))
    for number in range(int(fold.max()) + 1):
        out = fold == number
        rows = ~out[sample.sheet]
        fitted = fit_spread(sample.part(~out), distance[~out], residual[rows], settings)
        spread[out] = expected(fitted, speeds, sample.table[out], distance[out])
    return spread
