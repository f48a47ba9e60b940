"""The curve model as a scikit-learn estimator, over any columns that describe a build.

It has the project's boosted trees, smoothed over engine speed, and limits that hold for new groups.
It works without sheets: it engineers no features, fills no missing values and has no Gaussian
process.
"""

from __future__ import annotations

from numbers import Integral, Real
from typing import TYPE_CHECKING, Any, Self

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.utils.validation import (
    check_consistent_length,
    check_is_fitted,
    check_scalar,
    column_or_1d,
    validate_data,
)

from pullbook.model.learning.settings import Settings
from pullbook.model.limits.conformal import group_scores, needed_groups
from pullbook.model.scikit_learn.trees_over_speed import fit_trees, speed_grid
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from pullbook.model.limits.conformal import Floats, Ints, Scores
    from pullbook.model.scikit_learn.trees_over_speed import SpeedGrid

#: Smallest value of each whole-number parameter.
_LEAST = (("rounds", 1), ("leaves", 2), ("leaf_readings", 1), ("folds", 2), ("seed", 0))


class NoLimitsError(InputError):
    """The fit cannot give the limits; the message names what is missing."""


class CurveRegressor(RegressorMixin, BaseEstimator):  # type: ignore[misc]  # it has no types
    """Boosted trees of torque over engine speed and any columns that describe the build.

    One column of ``X`` is engine speed, the others describe the build, as numbers; NaN is not
    known. The trees' prediction of a build is smoothed over engine speed, from the lowest speed of
    the fit to the highest; beyond, the last value is used. The other columns are the same at every
    speed, so none of them should be a function of it. A reading without a speed is fitted and
    predicted from its other columns alone.

    Parameters
    ----------
    rpm_column
        Position of engine speed, rev/min, among the columns.
    rounds
        Number of trees.
    learning_rate
        Weight of each tree, above 0 to 1.
    leaves
        Most leaves of a tree.
    leaf_readings
        Fewest readings in a leaf; fewer if there are few readings.
    feature_share
        Share of the columns that each tree may use, above 0 to 1. With few columns use all of them,
        or no tree sees two columns together; for the many features of sheets 0.4 is used.
    folds
        Number of parts that groups are held out in, if there are groups.
    seed
        Seed of every random choice.

    Attributes
    ----------
    n_features_in_
        Number of columns of the fit.
    feature_names_in_
        Their names, if they have any.
    trees_
        The trees; ``trees_.text`` is LightGBM's text of them.
    grid_
        The grid of engine speeds that curves are smoothed on.
    n_groups_
        Number of groups of the fit; 0 without groups.
    scores_
        Absolute errors of held-out groups, which give the limits; ``None`` with fewer than two
        groups.

    Examples
    --------
    >>> rpm, size = np.tile(np.arange(2000.0, 6000.0, 500.0), 12), np.repeat(np.arange(12.0), 8)
    >>> torque = 300 + 5 * size - 20 * ((rpm - 4000) / 1000) ** 2
    >>> model = CurveRegressor(rounds=200).fit(np.column_stack([rpm, size]), torque, groups=size)
    >>> low, high = model.predict_interval([[4000.0, 6.0]], level=0.9)
    >>> bool(low[0] < 330 < high[0])
    True

    """

    def __init__(  # noqa: PLR0913 - every one a parameter of the fit
        self,
        *,
        rpm_column: int = 0,
        rounds: int = 1000,
        learning_rate: float = 0.04,
        leaves: int = 7,
        leaf_readings: int = 40,
        feature_share: float = 1.0,
        folds: int = 10,
        seed: int = 1,
    ) -> None:
        self.rpm_column = rpm_column
        self.rounds = rounds
        self.learning_rate = learning_rate
        self.leaves = leaves
        self.leaf_readings = leaf_readings
        self.feature_share = feature_share
        self.folds = folds
        self.seed = seed

    def __sklearn_tags__(self) -> Any:
        tags = super().__sklearn_tags__()
        tags.input_tags.allow_nan = True
        return tags

    def fit(
        self,
        X: ArrayLike,  # noqa: N803 - scikit-learn's name
        y: ArrayLike,
        groups: ArrayLike | None = None,
    ) -> Self:
        """Fit the trees and, if there are groups, the limits.

        Parameters
        ----------
        X
            Shape (readings, columns).
        y
            Torque, in any unit; shape (readings,).
        groups
            Group of each reading, such as the shop that measured it; shape (readings,).

        Raises
        ------
        ValueError
            A parameter is out of range, or the arrays do not match.

        """
        settings = self._settings()
        matrix, target = validate_data(
            self, X, y, dtype=np.float64, y_numeric=True, ensure_all_finite="allow-nan",
            ensure_min_samples=2,
        )  # fmt: skip
        target = target.astype(np.float64)
        group, self.n_groups_ = _numbered(groups, len(target))
        self.grid_: SpeedGrid = speed_grid(matrix[:, self._column()], self._column())
        self.trees_ = fit_trees(matrix, target, settings)
        self.scores_: Scores | None = None
        if self.n_groups_ >= 2:
            error = np.abs(target - self.grid_.predict_held_out(matrix, target, group, settings))
            self.scores_ = group_scores(error, group, np.arange(self.n_groups_))
        return self

    def predict(self, X: ArrayLike) -> Floats:  # noqa: N803 - scikit-learn's name
        """Return the torque of each reading, shape (readings,)."""
        check_is_fitted(self)
        matrix = validate_data(
            self, X, dtype=np.float64, ensure_all_finite="allow-nan", reset=False
        )
        return self.grid_.predict(self.trees_, matrix)

    def predict_interval(
        self,
        X: ArrayLike,  # noqa: N803 - scikit-learn's name
        level: float = 0.9,
    ) -> tuple[Floats, Floats]:
        """Return the limits of each reading, low and high, each of shape (readings,).

        Of the measured values of a new group, at least the share ``level`` is inside on average.
        The errors behind the limits come from fits with about a tenth of the groups held out, so
        they are slightly larger than those of the whole fit. Limits have the same width at every
        reading. Every group has the same weight, and so has every reading of a group.

        Raises
        ------
        NoLimitsError
            The fit had no groups, or too few for the level.
        ValueError
            The level is not between 0 and 1.

        """
        predicted = self.predict(X)
        if self.n_groups_ == 0:
            msg = "limits need groups to hold out, and the fit had none: fit(X, y, groups=...)"
            raise NoLimitsError(msg)
        limit = None if self.scores_ is None else self.scores_.threshold(level)
        if limit is None:
            needed = max(2, needed_groups(level))
            msg = f"limits at {level:g} need {needed} groups; the fit had {self.n_groups_}"
            raise NoLimitsError(msg)
        return predicted - limit, predicted + limit

    def _settings(self) -> Settings:
        """Return the settings of the trees; raise if one is out of range."""
        for name, least in _LEAST:
            check_scalar(getattr(self, name), name, Integral, min_val=least, max_val=2**31 - 1)
        for name in ("learning_rate", "feature_share"):
            check_scalar(
                getattr(self, name), name, Real,
                min_val=0, max_val=1, include_boundaries="right",
            )  # fmt: skip
        return Settings(
            seed=int(self.seed),
            folds=int(self.folds),
            rounds=int(self.rounds),
            learning_rate=float(self.learning_rate),
            leaves=int(self.leaves),
            leaf_readings=int(self.leaf_readings),
            feature_share=float(self.feature_share),
        )

    def _column(self) -> int:
        """Return the position of engine speed, counted from the left; raise if there is none."""
        count = int(self.n_features_in_)
        check_scalar(self.rpm_column, "rpm_column", Integral, min_val=-count, max_val=count - 1)
        return int(self.rpm_column) % count


def _numbered(groups: ArrayLike | None, readings: int) -> tuple[Ints, int]:
    """Return the number of the group of each reading, and the count of groups."""
    if groups is None:
        return np.zeros(readings, dtype=np.int64), 0
    given = column_or_1d(groups)
    check_consistent_length(given, np.empty(readings))
    if pd.isna(given).any():
        msg = "a reading has no group; name one for each, or leave the reading out"
        raise ValueError(msg)
    names, number = np.unique(given, return_inverse=True)
    return number.astype(np.int64), len(names)
