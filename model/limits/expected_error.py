"""The expected error of a held-out sheet, which sets how wide the limits are at each speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.learning.boosted_trees import Trees, fit
from pullbook.model.learning.curve_model import on_grid
from pullbook.model.learning.sample import columns, readings
from pullbook.pipeline.features.feature_table import GIVEN

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.learning.settings import Settings
    from pullbook.pipeline.parallel.workers import Crew

#: Columns of the expected error besides the features.
EXTRA = ("distance", "known")
#: Smallest error that is used.
_SMALLEST = 1e-3


@dataclass(frozen=True, slots=True)
class Trial:
    """Residuals of held-out sheets, predicted from one table of features.

    Attributes
    ----------
    table
        Features used for the prediction, a row a sheet; some may have been removed.
    distance
        Distance of each sheet, with those features, to sheets of other shops.
    residual
        Residual of each reading, on the logarithmic scale.
    """

    table: pd.DataFrame
    distance: Floats
    residual: Floats


def with_distance(table: pd.DataFrame, distance: Floats) -> pd.DataFrame:
    """Return features with the distance to the tested data and the number of known fields."""
    known = table[[c for c in table if str(c).startswith(GIVEN)]].sum(axis=1)
    return table.assign(distance=distance, known=known)


def fit_spread(sample: Sample, trials: Sequence[Trial], settings: Settings) -> Trees:
    """Fit the expected absolute residual of readings.

    Parameters
    ----------
    sample
        The sheets.
    trials
        Their residuals, each time from a table with more or fewer fields.
    settings
        Settings of the training run.

    """
    tables = [with_distance(trial.table, trial.distance) for trial in trials]
    matrix = np.vstack([readings(table, sample.sheet, sample.rpm) for table in tables])
    size = np.maximum(np.abs(np.concatenate([trial.residual for trial in trials])), _SMALLEST)
    weight = np.tile(sample.reading_weight(), len(trials))
    return Trees(fit(matrix, size, weight, columns(tables[0]), settings, spread=True))


def expected(trees: Trees, speeds: Floats, table: pd.DataFrame, distance: Floats) -> Floats:
    """Return the expected absolute error on the grid, relative, shape (builds, points)."""
    spread = on_grid(trees, speeds, with_distance(table, distance))
    return np.maximum(spread, _SMALLEST)


def held_out(
    sample: Sample,
    fold: Ints,
    trials: Sequence[Trial],
    distances: Sequence[Floats],
    speeds: Floats,
    settings: Settings,
    workers: Crew,
) -> Floats:
    """Return the expected error of every sheet from trees fitted without its fold.

    It is for the first trial, which has all fields of the sheets, at each of some distances of the
    sheets to the data. Shape (distances, sheets, points of the grid).
    """
    spread = np.zeros((len(distances), len(sample), len(speeds)))

    def fit_fold(number: int) -> Floats:
        out = fold == number
        rows = ~out[sample.sheet]
        inner = [Trial(t.table[~out], t.distance[~out], t.residual[rows]) for t in trials]
        fitted = fit_spread(sample.part(~out), inner, settings)
        return np.array(
            [expected(fitted, speeds, trials[0].table[out], far[out]) for far in distances]
        )

    for number, part in enumerate(workers.each(fit_fold, range(int(fold.max()) + 1))):
        spread[:, fold == number] = part
    return spread
