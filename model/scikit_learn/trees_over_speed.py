"""Trees over any columns, smoothed along the one that is engine speed.

What `model.learning.curve_model` does for the features of a sheet, for a plain matrix: readings
that are alike in every other column are of one build, and the build's curve is smoothed on a grid
of speeds.
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

#: Builds whose curves are reckoned at once, so that memory stays small.
_AT_ONCE = 2000
#: Stands for a missing value where builds are told apart.
_MISSING = np.finfo(np.float64).max


@dataclass(frozen=True, slots=True)
class Along:
    """Where engine speed stands, and the grid that curves are smoothed on.

    Attributes
    ----------
    column
        The place of engine speed among the columns.
    speeds
        The grid, at equal steps, shape (points,).
    """

    column: int
    speeds: Floats

    def say(self, fitted: boosted_trees.Trees, matrix: Floats) -> Floats:
        """Return what trees say of readings, smoothed along engine speed.

        Parameters
        ----------
        fitted
            The trees.
        matrix
            Shape (readings, columns). A reading without a speed is answered by its other columns.

        Returns
        -------
        Shape (readings,).

        """
        rpm = matrix[:, self.column]
        known = ~np.isnan(rpm)
        said = np.empty(len(matrix))
        said[known] = self._smoothed(fitted, matrix[known])
        if not known.all():
            said[~known] = fitted.predict(matrix[~known])
        return said

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

    def say_held_out(
        self, matrix: Floats, target: Floats, group: Ints, settings: Settings
    ) -> Floats:
        """Return for each reading what trees say that have seen nothing of its group.

        Parameters
        ----------
        matrix
            Shape (readings, columns).
        target, group
            Of each reading what was measured, and the number of its group, shape (readings,).
        settings
            Of the trees, and in how many parts groups are held out.

        Raises
        ------
        ValueError
            There is one group only.

        """
        held = np.empty(len(target))
        fold = hold_out.folds(group, settings.folds)
        for number in range(int(fold.max()) + 1):
            out = fold == number
            held[out] = self.say(fit_trees(matrix[~out], target[~out], settings), matrix[out])
        return held


def along(rpm: Floats, column: int) -> Along:
    """Return the grid that spans the engine speeds of readings; NaN do not count.

    Raises
    ------
    ValueError
        No reading has a speed.

    """
    known = rpm[~np.isnan(rpm)]
    if not len(known):
        msg = f"no reading has an engine speed: column {column} is all NaN"
        raise ValueError(msg)
    low, high = float(known.min()), float(known.max())
    return Along(column, smooth_curves.grid(low, high if high > low else low + 1.0))


def fit_trees(matrix: Floats, target: Floats, settings: Settings) -> boosted_trees.Trees:
    """Fit trees to readings that all weigh the same."""
    names = [f"x{place}" for place in range(matrix.shape[1])]
    return boosted_trees.Trees(
        boosted_trees.fit(matrix, target, np.ones(len(target)), names, settings)
    )
