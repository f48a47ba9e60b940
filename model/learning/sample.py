"""The training sample: builds as features, readings as logarithms of torque per unit of charge."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.features import engineered_features
from pullbook.schemas.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SPEED = "rpm"
#: Ordinary scatter of a sheet (shop, engine and pull), as a relative standard deviation; a nominal
#: correction or a warning adds to it. Common practice, no source.
_ORDINARY_SD = 0.025


@dataclass(frozen=True, slots=True)
class Sample:
    """Sheets to fit a model to.

    Attributes
    ----------
    sheet_ids
        Name of each sheet.
    shops
        Code of the shop of each sheet.
    engines
        Number of the engine of each sheet, as `engines_of` tells them apart.
    table
        Features, a row a sheet; columns of `feature_table.make`.
    sheet
        For each reading the position of its sheet; rising.
    rpm
        Engine speed of each reading, rev/min.
    target
        Natural logarithm of lb-ft per cubic inch of charge, of each reading.
    weight
        Weight of each sheet: 1, or less where its numbers are less certain.
    """

    sheet_ids: tuple[str, ...]
    shops: NDArray[np.str_]
    engines: Ints
    table: pd.DataFrame
    sheet: Ints
    rpm: Floats
    target: Floats
    weight: Floats

    def __len__(self) -> int:
        return len(self.sheet_ids)

    def part(self, keep: NDArray[np.bool_]) -> Sample:
        """Return the sample of some of the sheets."""
        return self.take(np.flatnonzero(keep))

    def take(self, sheets: Ints) -> Sample:
        """Return the sample of the sheets at some positions, which may be repeated."""
        bounds = np.searchsorted(self.sheet, np.arange(len(self) + 1))
        counts = np.diff(bounds)[sheets]
        offset = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        rows = np.repeat(bounds[sheets], counts) + offset
        return Sample(
            sheet_ids=tuple(np.asarray(self.sheet_ids)[sheets].tolist()),
            shops=self.shops[sheets],
            engines=self.engines[sheets],
            table=self.table.iloc[sheets],
            sheet=np.repeat(np.arange(len(sheets)), counts),
            rpm=self.rpm[rows],
            target=self.target[rows],
            weight=self.weight[sheets],
        )

    def few_of_each(self, most: int) -> Ints:
        """Return the positions of a few readings of each sheet, spread over its sweep."""
        bounds = np.searchsorted(self.sheet, np.arange(len(self) + 1))
        rows = []
        for start, stop in pairwise(bounds.tolist()):
            few = np.linspace(start, stop - 1, min(stop - start, most))
            rows.append(np.unique(few.round().astype(np.int64)))
        return np.concatenate(rows)

    def sweeps(self) -> Floats:
        """Return the lowest and the highest engine speed of each sheet, shape (sheets, 2)."""
        starts = np.searchsorted(self.sheet, np.arange(len(self)))
        return np.column_stack(
            [np.minimum.reduceat(self.rpm, starts), np.maximum.reduceat(self.rpm, starts)]
        )

    def doubt(self) -> Floats:
        """Return the variance of each sheet beyond the ordinary, shape (sheets,)."""
        doubt: Floats = _ORDINARY_SD**2 * (1 / self.weight - 1)
        return doubt

    def reading_weight(self) -> Floats:
        """Return the weight of each reading: its sheet's, divided among the sheet's readings."""
        counts = np.bincount(self.sheet, minlength=len(self))
        share = (self.weight / np.maximum(counts, 1))[self.sheet]
        weight: Floats = share * (len(share) / share.sum())
        return weight


def sample_of(builds: pd.DataFrame, pulls: pd.DataFrame, table: pd.DataFrame) -> Sample:
    """Return the sample of a curated data set.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    table
        Features of the builds, in the same order.

    Raises
    ------
    InputError
        A build has no readings, or a reading has no build.

    """
    place = pd.Series(np.arange(len(builds)), index=builds["sheet_id"])
    if set(place.index) != set(pulls["sheet_id"]):
        msg = (
            "the tables of builds and pulls do not hold the same sheets; make them anew with:"
            " pullbook curate"
        )
        raise InputError(msg)
    sheet = place[pulls["sheet_id"]].to_numpy()
    order = np.argsort(sheet, kind="stable")
    pulls, sheet = pulls.iloc[order], sheet[order]
    size = charge(table)
    return Sample(
        sheet_ids=tuple(builds["sheet_id"]),
        shops=builds["shop"].to_numpy(dtype=np.str_),
        engines=engines_of(builds),
        table=table,
        sheet=sheet,
        rpm=pulls["rpm"].to_numpy(dtype=float),
        target=np.log(pulls["torque"].to_numpy(dtype=float) / size[sheet]),
        weight=weight_of(builds),
    )


def charge(table: pd.DataFrame) -> Floats:
    """Return the charge of builds: displacement, in³, times the manifold pressure ratio.

    So boost counts as a larger engine. Shape (builds,).
    """
    size: Floats = table["displacement"].to_numpy(float) * table["pressure_ratio"].to_numpy(float)
    return size


def weight_of(builds: pd.DataFrame) -> Floats:
    """Return the weight of each curated sheet, at most 1, shape (sheets,).

    Whatever makes its torque less certain adds to the ordinary scatter; copies share one weight.
    """
    more = builds["factor_sd"].to_numpy(float) ** 2 + builds["doubt_sd"].to_numpy(float) ** 2
    weight: Floats = _ORDINARY_SD**2 / (_ORDINARY_SD**2 + more) / builds["copies"].to_numpy(float)
    return weight


def columns(table: pd.DataFrame) -> list[str]:
    """Return the names of the columns of `readings`."""
    return [_SPEED, *table.columns]


def readings(table: pd.DataFrame, build: Ints, rpm: Floats) -> Floats:
    """Return the matrix of readings: engine speed, then the features at that speed.

    Parameters
    ----------
    table
        Features, a row a build.
    build
        For each reading the position of its build.
    rpm
        For each reading the engine speed, rev/min.

    Returns
    -------
    Shape (readings, 1 + features).

    """
    matrix = np.empty((len(rpm), 1 + table.shape[1]))
    matrix[:, 0] = rpm
    matrix[:, 1:] = table.to_numpy(dtype=float)[build]
    places = {name: place for place, name in enumerate(table.columns, start=1)}
    for name in engineered_features.PER_RPM:
        matrix[:, places[name]] *= rpm
    return matrix
