"""Fill missing fields of a build from the fields that are given.

Fields go together: a big intake valve with a big exhaust valve, a flow with a cross-section, an
advertised duration with one at 0.050 in. A multivariate normal over the logarithms of the sizes
and the plain angles, fitted by expectation-maximisation to the builds of a data set, fills a
missing field with its expected value. It uses builds only, never torque.

Dempster, Laird and Rubin (1977); Little and Rubin, Statistical Analysis with Missing Data, ch. 11,
from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullbook.pipeline.physics.engine_quantities import (
    DISPLACEMENT,
    SIZE_FIELDS,
    bore_of,
    stroke_of,
)
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    Column = NDArray[np.float64]
    Matrix = NDArray[np.float64]

#: Fields that are filled: sizes by their logarithm, angles unchanged.
_SIZES = (
    "rod_length", "compression_ratio", "intake_lift", "exhaust_lift", "intake_valve",
    "exhaust_valve", "port_csa", "port_volume", "intake_flow", "exhaust_flow", "runner_length",
    "airflow", "primary_diameter", "primary_length",
)  # fmt: skip
_ANGLES = (
    "intake_duration", "exhaust_duration", "intake_duration_seat", "exhaust_duration_seat",
    "lobe_separation", "intake_centerline", "timing", "octane",
)  # fmt: skip
FILLED = _SIZES + _ANGLES
#: Fields that all others are filled from; bore and stroke are worked out first.
_GIVEN = SIZE_FIELDS
#: Choices that are used to fill other fields; they are not filled themselves.
_HINTS = (*(n for n in BUILD_FIELDS if FIELDS[n].kind is Kind.CHOICE), "valves_per_cylinder")
_ROUNDS = 25
#: Weight, in sheets, of the prior that fields are independent.
_PRIOR = 8.0
_ENOUGH = 5
_MOST_SHEETS = 4000


@dataclass(frozen=True, slots=True)
class Filling:
    """A fitted model that fills missing fields.

    Attributes
    ----------
    names
        The columns it was fitted on.
    center, scale
        Mean and standard deviation of each column, shape (columns,).
    covariance
        Covariance of the standardised columns, shape (columns, columns).
    """

    names: tuple[str, ...]
    center: Column
    scale: Column
    covariance: Matrix

    def fill(self, columns: Mapping[str, Column]) -> dict[str, Column]:
        """Return the columns with missing fields filled, if the model was fitted on them.

        Bore and stroke come first: they are filled so that they make the displacement. Fields of
        the header stay missing on a cast manifold, which has no primaries.
        """
        columns = self._with_bore(columns)
        z, _ = _conditional(_standard(self, columns), self.covariance)
        filled = dict(columns)
        cast = FIELDS["exhaust_type"].choices.index("cast manifold")
        bare = columns["exhaust_type"] == cast
        for i, name in enumerate(self.names):
            if name not in FILLED:
                continue
            value = self._in_unit(i, z[:, i])
            if name in ("primary_diameter", "primary_length"):
                value = np.where(bare, np.nan, value)
            filled[name] = np.where(np.isnan(columns[name]), value, columns[name])
        return filled

    def _with_bore(self, columns: Mapping[str, Column]) -> dict[str, Column]:
        """Return the columns with bore and stroke, in the ratio that builds like these have."""
        bore, stroke = columns["bore"], columns["stroke"]
        filled = dict(columns)
        if not (np.isnan(bore) | np.isnan(stroke)).any():
            return filled
        volume, cylinders = columns[DISPLACEMENT], columns["cylinders"]
        bore = np.where(np.isnan(bore), bore_of(volume, stroke, cylinders), bore)
        stroke = np.where(np.isnan(stroke), stroke_of(volume, bore, cylinders), stroke)
        gap = np.isnan(bore)
        ratio = np.exp(self._log_ratio(columns)[gap])
        bore[gap] = np.cbrt(bore_of(volume[gap], 1.0, cylinders[gap]) ** 2 * ratio)
        stroke[gap] = bore[gap] / ratio
        return filled | {"bore": bore, "stroke": stroke}

    def _log_ratio(self, columns: Mapping[str, Column]) -> Column:
        """Return the expected logarithm of bore over stroke."""
        z, _ = _conditional(_standard(self, columns), self.covariance)
        found = np.zeros(len(z))
        for name, sign in (("bore", 1.0), ("stroke", -1.0)):
            if name in self.names:
                i = self.names.index(name)
                found += sign * (z[:, i] * self.scale[i] + self.center[i])
        return found

    def _in_unit(self, i: int, z: Column) -> Column:
        """Convert standardised values of a column to the unit of its field."""
        name = self.names[i]
        value = z * self.scale[i] + self.center[i]
        value = np.exp(value) if name in _SIZES else value
        limited: Column = np.clip(value, FIELDS[name].low, FIELDS[name].high)
        return limited

    def plausible(self, columns: Mapping[str, Column]) -> dict[str, Column]:
        """Return plausible values of the missing fields of one build, from those it gives.

        Parameters
        ----------
        columns
            Fields of one build, arrays of length one.

        Returns
        -------
        Three values for each missing field that can be filled: the nodes of Gauss and Hermite's
        rule, whose weights are `PLAUSIBLE_WEIGHTS`.

        """
        whole = self._with_bore(columns)
        z = _standard(self, whole)
        gap = np.isnan(z[0])
        mean, spread = _conditional(z, self.covariance)
        sd = np.sqrt(np.diag(spread))
        found = {
            name: self._in_unit(i, mean[0, i] + sd[i] * _NODES)
            for i, name in enumerate(self.names)
            if name in FILLED and gap[i]
        }
        if np.isnan(columns["bore"][0]) and "bore" in self.names:
            # At one displacement, bore goes with the cube root of the ratio of bore and stroke.
            _, spread = _conditional(_standard(self, columns), self.covariance)
            signs = {"bore": 1.0, "stroke": -1.0}
            way = np.array([signs.get(n, 0.0) for n in self.names]) * self.scale
            off = np.sqrt(max(float(way @ spread @ way), 0.0)) / 3
            sizes = {"bore": whole["bore"] * np.exp(off * _NODES),
                     "stroke": whole["stroke"] * np.exp(-2 * off * _NODES)}  # fmt: skip
            found |= sizes
        return found


#: The three values of `Filling.plausible`, in standard deviations, and their weights.
_NODES = np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])
PLAUSIBLE_WEIGHTS = np.array([1 / 6, 2 / 3, 1 / 6])


def _transformed(columns: Mapping[str, Column]) -> dict[str, Column]:
    """Return the columns that are fitted: logarithms, angles, and choices as indicators."""
    made: dict[str, Column] = {}
    for name in (*_GIVEN, *_SIZES):
        made[name] = np.log(columns[name])
    for name in _ANGLES:
        made[name] = columns[name]
    for name in _HINTS:
        levels = range(len(FIELDS[name].choices)) if FIELDS[name].choices else (2, 3, 4, 5)
        gap = np.isnan(columns[name])
        for level in levels:
            made[f"{name}={level}"] = np.where(gap, np.nan, (columns[name] == level).astype(float))
    return made


def _standard(filling: Filling, columns: Mapping[str, Column]) -> Matrix:
    made = _transformed(columns)
    return np.column_stack(
        [
            (made[n] - c) / s
            for n, c, s in zip(filling.names, filling.center, filling.scale, strict=True)
        ]
    )


def fit(columns: Mapping[str, Column]) -> Filling:
    """Fit a filling to the fields of a data set, as `engineered_features.numbers` returns them.

    Columns with fewer than five values, or with only one value, are not used.
    """
    made = _transformed(columns)
    names, center, scale = [], [], []
    for name, column in made.items():
        known = column[~np.isnan(column)]
        if len(known) >= _ENOUGH and np.ptp(known) > 0:
            names.append(name)
            center.append(float(known.mean()))
            scale.append(float(known.std()))
    start = Filling(tuple(names), np.array(center), np.array(scale), np.eye(len(names)))
    z = _standard(start, columns)[:: max(1, len(columns[SIZE_FIELDS[0]]) // _MOST_SHEETS)]
    covariance = np.eye(len(names))
    for _ in range(_ROUNDS):
        whole, spread = _conditional(z, covariance)
        scatter = whole.T @ whole + spread
        covariance = (scatter + _PRIOR * np.eye(len(names))) / (len(z) + _PRIOR)
    return Filling(tuple(names), start.center, start.scale, covariance)


def _conditional(z: Matrix, covariance: Matrix) -> tuple[Matrix, Matrix]:
    """Return the rows with expected values for missing ones, and their summed covariances."""
    whole = z.copy()
    spread = np.zeros_like(covariance)
    gaps = np.isnan(z)
    patterns, which = np.unique(gaps, axis=0, return_inverse=True)
    which = which.reshape(-1)
    order = np.argsort(which, kind="stable")
    bounds = np.searchsorted(which[order], np.arange(len(patterns) + 1))
    for i, gap in enumerate(patterns):
        if not gap.any():
            continue
        rows = order[bounds[i] : bounds[i + 1]]
        given = ~gap
        known, unknown = np.flatnonzero(given), np.flatnonzero(gap)
        across = covariance[known]  # plain indices: `np.ix_` takes longer than the arithmetic
        beside = across[:, unknown]
        weights = np.linalg.solve(across[:, known], beside)
        whole[rows[:, None], unknown] = z[rows[:, None], known] @ weights
        left = covariance[unknown[:, None], unknown] - beside.T @ weights
        spread[unknown[:, None], unknown] += len(rows) * left
    return whole, spread
