"""How wide the limits must be where: the expected size of the error of a held-out sheet."""

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

#: Columns that the spread looks at beside the features.
EXTRA = ("distance", "known")
#: No error is taken for smaller than this.
_SMALLEST = 1e-3


@dataclass(frozen=True, slots=True)
class Trial:
    """What a model said of sheets that it had not learned from.

    Attributes
    ----------
    table
        Features that it was told, a row a sheet; maybe fewer than the sheets give.
    distance
        Distance of each sheet, so described, to sheets of other shops.
    residual
        Of each reading, on the logarithmic scale.
    """

    table: pd.DataFrame
    distance: Floats
    residual: Floats


def with_distance(table: pd.DataFrame, distance: Floats) -> pd.DataFrame:
    """Return features with the distance to what was tested and how many fields are known."""
    known = table[[c for c in table if str(c).startswith(GIVEN)]].sum(axis=1)
    return table.assign(distance=distance, known=known)


def fit_spread(sample: Sample, trials: Sequence[Trial], settings: Settings) -> Trees:
    """Fit the expected absolute residual of readings.

    Parameters
    ----------
    sample
        The sheets.
    trials
        What was said of them, each time from more or less knowledge.
    settings
        Of the training run.

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
    speeds: Floats,
    settings: Settings,
    crew: Crew,
) -> Floats:
    """Return the expected error of every sheet from a spread fitted without its fold.

    The first trial is the one from all that the sheets give; the answer is for it. Shape
    (sheets, points of the grid).
    """
    spread = np.zeros((len(sample), len(speeds)))

    def told(number: int) -> Floats:
        out = fold == number
        rows = ~out[sample.sheet]
        inner = [Trial(t.table[~out], t.distance[~out], t.residual[rows]) for t in trials]
        fitted = fit_spread(sample.part(~out), inner, settings)
        return expected(fitted, speeds, trials[0].table[out], trials[0].distance[out])

    for number, part in enumerate(crew.each(told, range(int(fold.max()) + 1))):
        spread[fold == number] = part
    return spread
