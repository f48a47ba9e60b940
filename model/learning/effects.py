"""Effects of parts, dyno, family, engine and mounting: what a curve is beyond where it starts.

The logarithm of torque per unit of charge is a starting curve times a weight, plus a level, plus
effects, each a Gaussian process over parts, or over shop, family, engine or sheet, and over engine
speed; then noise of each reading. A measured pull of an engine is a datum like any other: what it
tells of its shop, engine and parts carries over to a build that shares them (Rasmussen and
Williams, Gaussian Processes for Machine Learning, 2006, ch. 2).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import solve_triangular

from pullbook.model.learning.part_kernel import COLUMNS

if TYPE_CHECKING:
    from pullbook.model.learning.part_kernel import Floats, Inputs, Ints

PARTS = (*COLUMNS, "all parts")
#: Effects that go with what a sheet is of, in the order of the columns of `Readings.labels`.
LABELS = ("shop", "family", "engine")
EFFECTS = (*PARTS, *LABELS, "mounting", "reading")
#: Over the logarithm of engine speed: length scale of effects that are not of parts, those of parts
#: having half of it; and share that is the same at all speeds, of effects of parts and of others.
_SPEED_LENGTH = 0.8
_PART_COMMON, _LABEL_COMMON = 0.3, 0.6
_JITTER = 1e-8


@dataclass(frozen=True, slots=True)
class Constants:
    """What is learned about the effects.

    Attributes
    ----------
    variances
        Variance of each of `EFFECTS`, shape (effects,).
    weight
        Weight of the starting curve.
    center
        Means of the starting curve and of the target, which are subtracted from them.
    level
        Variance of the level of all curves; 0 where the starting curve is taken as it is.
    """

    variances: Floats
    weight: float
    center: tuple[float, float]
    level: float


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of sheets, or points to predict.

    Attributes
    ----------
    places
        The builds of the sheets as points, by `part_kernel.Inputs`, shape (sheets, inputs).
    labels
        Numbers of shop, family and engine of each sheet, shape (sheets, 3); what is alike shares
        its number.
    doubt
        Variance of each sheet beyond the ordinary, shape (sheets,).
    sheet
        Position of the sheet of each reading, shape (readings,).
    speed
        Logarithm of rev/min of each reading.
    start
        The starting curve at each reading: the logarithm of torque per unit of charge.
    target
        The same as measured; zeros for points to predict.
    """

    places: Floats
    labels: Ints
    doubt: Floats
    sheet: Ints
    speed: Floats
    start: Floats
    target: Floats

    def part(self, keep: Ints) -> Readings:
        """Return the readings of the sheets at some positions, in that order."""
        position = np.full(len(self.places), -1)
        position[keep] = np.arange(len(keep))
        rows = np.flatnonzero(position[self.sheet] >= 0)
        rows = rows[np.argsort(position[self.sheet[rows]], kind="stable")]
        return Readings(
            self.places[keep], self.labels[keep], self.doubt[keep], position[self.sheet[rows]],
            self.speed[rows], self.start[rows], self.target[rows],
        )  # fmt: skip

    def joined(self, other: Readings) -> Readings:
        """Return these readings and others after them."""
        return Readings(
            np.concatenate([self.places, other.places]),
            np.concatenate([self.labels, other.labels]),
            np.concatenate([self.doubt, other.doubt]),
            np.concatenate([self.sheet, len(self.places) + other.sheet]),
            np.concatenate([self.speed, other.speed]),
            np.concatenate([self.start, other.start]),
            np.concatenate([self.target, other.target]),
        )


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of some points once readings are.

    Attributes
    ----------
    mean
        Mean of the logarithm of torque per unit of charge, shape (points,).
    white
        Covariance with the readings, whitened by them, shape (readings, points).
    points
        The points.
    """

    mean: Floats
    white: Floats
    points: Readings


@dataclass(frozen=True, slots=True)
class Process:
    """Effects with the readings they are known from.

    Attributes
    ----------
    inputs
        How builds become points.
    constants
        What is learned.
    readings
        What was measured.
    root
        Lower Cholesky factor of the covariance of the readings.
    white
        What they differ from the starting curve by, whitened.
    """

    inputs: Inputs
    constants: Constants
    readings: Readings
    root: Floats
    white: Floats

    def posterior(self, points: Readings) -> Posterior:
        """Return what is known of points; every sheet of theirs is a new mounting."""
        across = self._across(self.readings, points)
        white = _whitened(self.root, across) if len(self.root) else across
        mean = _prior_mean(self.constants, points.start) + self.white @ white
        return Posterior(mean, white, points)

    def mean(self, points: Readings) -> Floats:
        """Return the mean alone of points, shape (points,), fast for many."""
        if not len(self.root):
            return _prior_mean(self.constants, points.start)
        weights = _whitened(self.root, self.white, trans="T")
        mean = _prior_mean(self.constants, points.start)
        mean += weights @ self._across(self.readings, points)
        return mean

    def covariance(self, a: Posterior, b: Posterior, *, same: bool) -> Floats:
        """Return the covariance of points, shape (a, b); ``same`` where both are the same points.

        The same points share their mountings, and the noise of their readings.
        """
        prior = self._across(a.points, b.points)
        if same:
            prior += _own(self.constants, a.points)
        covariance: Floats = prior - a.white.T @ b.white
        return covariance

    def variance(self, one: Posterior) -> Floats:
        """Return the variance of a reading at each point, shape (points,)."""
        points = one.points
        var = self.constants.variances
        prior = var.sum() + self.constants.level + points.doubt[points.sheet]
        variance: Floats = np.maximum(prior - np.sum(one.white**2, axis=0), _JITTER)
        return variance

    def conditioned(self, more: Readings) -> Process:
        """Return the process with further readings beside those it has."""
        root, off = _extended(self, more)
        readings = self.readings.joined(more)
        return replace(self, readings=readings, root=root, white=np.append(self.white, off))

    def _across(self, a: Readings, b: Readings) -> Floats:
        """Return the prior covariance of readings of different sheets, shape (a, b)."""
        var = self.constants.variances
        like = self.inputs.likeness(a.places, b.places)
        parts = np.tensordot(var[: len(PARTS)], like, axes=1)
        labels = np.zeros(parts.shape)
        for at in range(len(LABELS)):
            labels += var[len(PARTS) + at] * (a.labels[:, None, at] == b.labels[None, :, at])
        pick = np.ix_(a.sheet, b.sheet)
        over_parts, across = over_speed(a.speed, b.speed)
        over_parts *= parts[pick]
        across *= labels[pick]
        across += over_parts
        across += self.constants.level
        return across


def unconditioned(inputs: Inputs, constants: Constants) -> Process:
    """Return a process that knows no reading yet."""
    none = np.zeros(0)
    empty = Readings(
        np.zeros((0, len(inputs.names))), np.zeros((0, len(LABELS)), dtype=np.int64), none,
        np.zeros(0, dtype=np.int64), none, none, none,
    )  # fmt: skip
    return Process(inputs, constants, empty, np.zeros((0, 0)), none)


def _prior_mean(constants: Constants, start: Floats) -> Floats:
    mean: Floats = constants.center[1] + constants.weight * (start - constants.center[0])
    return mean


def _own(constants: Constants, readings: Readings) -> Floats:
    """Return the covariance that readings of the same sheet have beyond that of other sheets."""
    same = readings.sheet[:, None] == readings.sheet[None, :]
    mounting = constants.variances[EFFECTS.index("mounting")]
    own = mounting * over_speed(readings.speed, readings.speed)[1]
    own = same * (own + readings.doubt[readings.sheet])
    own[np.diag_indices(len(own))] += constants.variances[-1]
    result: Floats = own
    return result


def _extended(process: Process, more: Readings) -> tuple[Floats, Floats]:
    """Return the root with further readings, and what these differ by, whitened."""
    known = process.posterior(more)
    matrix = process.covariance(known, known, same=True)
    corner = cholesky(matrix)
    size, added = len(process.root), len(corner)
    root = np.zeros((size + added, size + added))
    root[:size, :size] = process.root
    root[size:, :size] = known.white.T
    root[size:, size:] = corner
    return root, _whitened(corner, more.target - known.mean)


def _whitened(root: Floats, values: Floats, trans: str = "N") -> Floats:
    # Both are made here and finite: to look again would take as long as to solve.
    white: Floats = solve_triangular(root, values, lower=True, trans=trans, check_finite=False)
    return white


def over_speed(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return the correlations of effects over logarithms of engine speed, shape (a, b) each.

    The first are those of effects of parts, the second those of all others: Matern's with 3/2
    (Rasmussen and Williams, 2006, eq. 4.17, from memory). A smoother one, the squared exponential,
    would go on beyond the readings of a pull with their slope, and be far too sure of it.
    """
    away = np.abs(a[:, None] - b[None, :])
    away *= np.sqrt(3) / _SPEED_LENGTH
    near = np.exp(-away)
    others = (1.0 + away) * near
    others *= 1 - _LABEL_COMMON
    others += _LABEL_COMMON
    near *= near
    near *= 1.0 + 2.0 * away
    near *= 1 - _PART_COMMON
    near += _PART_COMMON
    return near, others


def cholesky(matrix: Floats) -> Floats:
    """Return the lower Cholesky factor of a covariance, with as little jitter as it takes."""
    more = _JITTER
    while True:
        try:
            root = np.linalg.cholesky(matrix + more * np.eye(len(matrix)))
        except np.linalg.LinAlgError:
            more *= 10
        else:
            return np.asarray(root, dtype=np.float64)
