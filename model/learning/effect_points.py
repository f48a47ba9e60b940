"""Sheets and builds as readings and points of the effects: labels, places, starting curves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pullbook.model.learning import smooth_curves
from pullbook.model.learning.effects import LABELS, Readings
from pullbook.pipeline.builds.engine_groups import engines_of

if TYPE_CHECKING:
    from pullbook.model.learning.effects import Posterior, Process
    from pullbook.model.learning.sample import Floats, Ints, Sample

#: Readings used of each sheet, and most readings used in all.
_PER_SHEET, _MOST = 6, 2400
#: Every so many points of the grid of engine speeds the variance is worked out.
_COARSE = 4
#: What families share that go by two names.
_SIZE = ("cylinders", "bore", "stroke", "arrangement")
#: Curves worked out at once.
_AT_ONCE = 64


def families_of(builds: pd.DataFrame) -> Ints:
    """Return the number of the engine family of each build, shape (builds,).

    Families are the same by name, or where cylinders, bore, stroke and arrangement agree: one
    family may go by two names. A build that names none and agrees with none is its own family.
    """
    by_name, by_size = _numbers(_family_names(builds)), _numbers(_family_sizes(builds))
    # Builds, names and sizes are nodes; a build is joined to its name and to its size.
    nodes = len(builds) + 1 + by_name.max(initial=-1) + 1 + by_size.max(initial=-1)
    starts, ends = [], []
    for number, first in ((by_name, len(builds)), (by_size, len(builds) + 1 + by_name.max())):
        rows = np.flatnonzero(number >= 0)
        starts.append(rows)
        ends.append(first + number[rows])
    pairs = np.concatenate(starts), np.concatenate(ends)
    joined = coo_array((np.ones(len(pairs[0])), pairs), shape=(nodes + 1, nodes + 1))
    _, family = connected_components(joined, directed=False)
    found: Ints = family[: len(builds)].astype(np.int64)
    return found


def _numbers(keys: list[object]) -> Ints:
    """Return a number for each key, -1 for a blank one."""
    numbers: dict[object, int] = {}
    return np.array(
        [-1 if key is None else numbers.setdefault(key, len(numbers)) for key in keys],
        dtype=np.int64,
    )


def labels_of(builds: pd.DataFrame) -> Ints:
    """Return the numbers of shop, family and engine of builds, shape (builds, 3)."""
    shop, _ = pd.factorize(builds["shop"], use_na_sentinel=False)
    return np.column_stack([shop, families_of(builds), engines_of(builds)])


class KnownLabels:
    """The labels of the sheets that a model has learned from, and of builds beside them.

    Attributes
    ----------
    labels
        Those of the sheets, as `labels_of` returns them.
    """

    def __init__(self, builds: pd.DataFrame) -> None:
        """Take the sheets' builds."""
        self.labels = labels_of(builds)
        shop, family, engine = self.labels.T.tolist()
        names, sizes = _family_names(builds), _family_sizes(builds)
        keys = _engine_keys(builds)
        self._shops = dict(zip(builds["shop"].tolist(), shop, strict=True))
        self._by_name = _first(names, family)
        self._by_size = _first(sizes, family)
        self._engines = _first(keys, engine)

    def of(self, builds: pd.DataFrame) -> Ints:
        """Return the labels of builds, shape (builds, 3); what is not known gets a number below 0.

        A family is known by its name, else by its size; an engine only by its shop and name.
        """
        new: dict[object, int] = {}

        def other(key: object) -> int:
            return new.setdefault(key, -1 - len(new))

        rows = zip(
            builds["shop"].tolist(), _family_names(builds), _family_sizes(builds),
            _engine_keys(builds), strict=True,
        )  # fmt: skip
        found = []
        for at, (shop, name, size, engine) in enumerate(rows):
            family = self._by_name.get(name, self._by_size.get(size))
            code = self._shops.get(shop)
            found.append(
                (
                    other(("shop", str(shop))) if code is None else code,
                    other(("family", name or size or at)) if family is None else family,
                    self._engines.get(engine, other(("engine", engine or at))),
                )
            )
        return np.array(found, dtype=np.int64).reshape(-1, len(LABELS))


def _first(keys: list[object], numbers: list[int]) -> dict[object, int]:
    """Return the number of each key, without those that are blank."""
    found: dict[object, int] = {}
    for key, number in zip(keys, numbers, strict=True):
        if key is not None:
            found.setdefault(key, number)
    return found


def _family_names(builds: pd.DataFrame) -> list[object]:
    return [
        str(name).casefold().strip() if pd.notna(name) else None
        for name in builds["family"].tolist()
    ]


def _family_sizes(builds: pd.DataFrame) -> list[object]:
    rows = zip(*(builds[name].tolist() for name in _SIZE), strict=True)
    return [
        None if any(pd.isna(value) for value in row)
        else (row[0], round(row[1], 3), round(row[2], 3), row[3])
        for row in rows
    ]  # fmt: skip


def _engine_keys(builds: pd.DataFrame) -> list[object]:
    rows = zip(builds["shop"].tolist(), builds["engine"].tolist(), strict=True)
    return [(str(shop), str(engine)) if pd.notna(engine) else None for shop, engine in rows]


def readings_of(sample: Sample, places: Floats, labels: Ints, start: Floats) -> Readings:
    """Return a few readings of each sheet of a sample.

    Parameters
    ----------
    sample
        The sheets.
    places
        Their builds as points, by `part_kernel.Inputs`.
    labels
        Their numbers of shop, family and engine.
    start
        Their starting curves at every reading of the sample, shape (readings,).

    """
    rows = sample.few_of_each(max(1, min(_PER_SHEET, _MOST // max(1, len(sample)))))
    return Readings(
        places, labels, sample.doubt(), sample.sheet[rows], np.log(sample.rpm[rows]), start[rows],
        sample.target[rows],
    )  # fmt: skip


def points_of(places: Floats, labels: Ints, start: Floats, speeds: Floats) -> Readings:
    """Return builds at every engine speed of a grid, as points to predict.

    Parameters
    ----------
    places, labels
        As for `readings_of`, a row a build.
    start
        Their starting curves on the grid, shape (builds, speeds).
    speeds
        The grid, rev/min.

    """
    builds = len(places)
    return Readings(
        places, labels, np.zeros(builds), np.repeat(np.arange(builds), len(speeds)),
        np.tile(np.log(speeds), builds), start.ravel(), np.zeros(builds * len(speeds)),
    )  # fmt: skip


class Ahead:
    """Builds to predict: their curves by a process, and how sure these are."""

    def __init__(
        self, process: Process, places: Floats, labels: Ints, start: Floats, speeds: Floats
    ) -> None:
        """Take a process, and builds as for `points_of`."""
        self._process, self._speeds = process, speeds
        self._places, self._labels, self._start = places, labels, start

    def curves(self) -> Floats:
        """Return the curves on the grid, shape (builds, speeds)."""
        found = [
            self._process.mean(self._points(slice(at, at + _AT_ONCE), 1))
            for at in range(0, len(self._places), _AT_ONCE)
        ]
        curves: Floats = np.concatenate(found).reshape(-1, len(self._speeds))
        return curves

    def spread(self) -> Floats:
        """Return the standard deviation of a reading on the grid, shape (builds, speeds)."""
        few = self._speeds[::_COARSE]
        found = []
        for at in range(0, len(self._places), _AT_ONCE):
            some = self.posterior(slice(at, at + _AT_ONCE))
            found.append(np.sqrt(self._process.variance(some)).reshape(-1, len(few)))
        spread: Floats = np.array([np.interp(self._speeds, few, one) for one in np.vstack(found)])
        return spread

    def points(self) -> Readings:
        """Return all of the builds at every engine speed of the grid, as points to predict."""
        return self._points(slice(None), 1)

    def posterior(self, builds: slice) -> Posterior:
        """Return what is known of some builds, at a few engine speeds each."""
        return self._process.posterior(self._points(builds, _COARSE))

    def shares_process(self, other: Ahead) -> bool:
        """Return whether both know the same readings, so that their errors go together."""
        return self._process is other._process

    def same_engine(self, a: int, other: Ahead, b: int) -> bool:
        """Return whether two builds are of one engine that the process knows of."""
        engines = self._labels[a, -1], other._labels[b, -1]
        return self.shares_process(other) and bool(engines[0] == engines[1])

    def correlations(self, rows: Ints, rpm: float) -> Floats:
        """Return the correlations of the errors of some builds at one speed, (rows, rows)."""
        at = int(np.argmin(np.abs(self._speeds - rpm)))
        some = points_of(
            self._places[rows], self._labels[rows], self._start[rows, at : at + 1],
            self._speeds[at : at + 1],
        )  # fmt: skip
        known = self._process.posterior(some)
        joint = self._process.covariance(known, known, same=False)
        both = np.sqrt(self._process.variance(known))
        found: Floats = joint / np.outer(both, both)
        np.fill_diagonal(found, 1.0)
        return found

    def correlation(self, a: int, other: Ahead, b: int) -> Floats:
        """Return the correlation of the errors of two builds on the grid, shape (speeds,)."""
        first = self.posterior(slice(a, a + 1))
        second = other.posterior(slice(b, b + 1))
        process = self._process
        common = np.diag(process.covariance(first, second, same=False))
        both = process.variance(first) * process.variance(second)
        few = self._speeds[::_COARSE]
        return np.interp(self._speeds, few, common / np.sqrt(both))

    def _points(self, builds: slice, step: int) -> Readings:
        start = self._start[builds, ::step]
        return points_of(self._places[builds], self._labels[builds], start, self._speeds[::step])


def start_at_readings(curves: Floats, speeds: Floats, sample: Sample) -> Floats:
    """Return starting curves, known on a grid, at the readings of a sample, shape (readings,)."""
    return smooth_curves.at(curves, speeds, sample.sheet, sample.rpm)


def start_at(curves: Floats, grid: Floats, speeds: Floats) -> Floats:
    """Return starting curves, known on a grid, on another, shape (builds, speeds)."""
    return curves @ smooth_curves.reader(grid, speeds).T
