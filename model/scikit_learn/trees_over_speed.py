"""Trees over any columns, smoothed over the one that is engine speed.

Does for a plain matrix what `model.learning.curve_model` does for the features of a sheet: readings
that are equal in every other column belong to one build, and the build's curve is smoothed on a
grid of speeds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.learning import boosted_trees, smooth_curves
from pullbook.model.training import hold_out

if TYPE_CHECKING:
    from pullbook.model.learning.settings import Settings
    from pullbook.model.limits.conformal import Floats, Ints

#: Builds whose curves are predicted at once, to limit memory.
_AT_ONCE = 2000
#: Takes the place of a missing value when builds are compared.
_MISSING = np.finfo(np.float64).max


@dataclass(frozen=True, slots=True)
class SpeedGrid:
    """The column of engine speed, and the grid that curves are smoothed on.

    Attributes
    ----------
    column
        Position of engine speed among the columns.
    speeds
        The grid, at equal steps, shape (points,).
    """

    column: int
    speeds: Floats

    def predict(self, fitted: boosted_trees.Trees, matrix: Floats) -> Floats:
        """Return the trees' predictions of readings, smoothed over engine speed.

        Parameters
        ----------
        fitted
            The trees.
        matrix
            Shape (readings, columns). A reading without a speed is predicted from the others.

        Returns
        -------
        Shape (readings,).

        """
        rpm = matrix[:, self.column]
        known = ~np.isnan(rpm)
        predicted = np.empty(len(matrix))
        predicted[known] = self._smoothed(fitted, matrix[known])
        if not known.all():
            predicted[~known] = fitted.predict(matrix[~known])
        return predicted

    def _smoothed(self, fitted: boosted_trees.Trees, matrix: Floats) -> Floats:
        builds = np.nan_to_num(matrix, nan=_MISSING)
        builds[:, self.column] = 0.0
        _, first, build = np.unique(builds, axis=0, return_index=True, return_inverse=True)
        curves = [np.empty((0, len(self.speeds)))]
        for start in range(0, len(first), _AT_ONCE):
            curves.append(self._curves(fitted, matrix[first[start : start + _AT_ONCE]]))
        rpm = matrix[:, self.column]
        return smooth_curves.at(np.vstack(curves), self.speeds, build.ravel(), rpm)

    def _curves(self, fitted: boosted_trees.Trees, builds: Floats) -> Floats:
        """Return the curves of builds on the grid, shape (builds, points)."""
        points = len(self.speeds)
        spread = np.repeat(builds, points, axis=0)
        spread[:, self.column] = np.tile(self.speeds, len(builds))
        return smooth_curves.smooth(fitted.predict(spread).reshape(len(builds), points))

    def predict_held_out(
        self, matrix: Floats, target: Floats, group: Ints, settings: Settings
    ) -> Floats:
        """Return the prediction of each reading by trees fitted without its group.

        Parameters
        ----------
        matrix
            Shape (readings, columns).
        target, group
            Measured value and number of the group of each reading, shape (readings,).
        settings
            Settings of the trees, and the number of parts that groups are held out in.

        Raises
        ------
        ValueError
            There is only one group.

        """
        held = np.empty(len(target))
        fold = hold_out.folds(group, settings.folds)
        for number in range(int(fold.max()) + 1):
            out = fold == number
            held[out] = self.predict(fit_trees(matrix[~out], target[~out], settings), matrix[out])
        return held


def speed_grid(rpm: Floats, column: int) -> SpeedGrid:
    """Return the grid that spans the engine speeds of readings, ignoring NaN.

    Raises
    ------
    ValueError
        No reading has a speed.

    """
    known = rpm[~np.isnan(rpm)]
    if not len(known):
        msg = f"no reading has an engine speed: column {column} is all NaN; check rpm_column"
        raise ValueError(msg)
    low, high = float(known.min()), float(known.max())
    return SpeedGrid(column, smooth_curves.grid(low, high if high > low else low + 1.0))


def fit_trees(matrix: Floats, target: Floats, settings: Settings) -> boosted_trees.Trees:
    """Fit trees to readings of equal weight."""
    names = [f"x{place}" for place in range(matrix.shape[1])]
    return boosted_trees.Trees(
        boosted_trees.fit(matrix, target, np.ones(len(target)), names, settings)
    )
