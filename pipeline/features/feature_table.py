"""The table that a model learns from: features of filled builds, and which fields were given."""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, BinaryIO

import numpy as np
import pandas as pd

from pullbook.pipeline.features import engineered_features, fill_missing
from pullbook.pipeline.features.fill_missing import FILLED, Filling
from pullbook.pipeline.parallel.workers import Processes
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.pipeline.parallel.workers import Crew

TABLE, FILLING = "features.parquet", "filling.npz"
#: Prefix of the columns that say whether a field was given (1) or filled (0).
GIVEN = "given_"
#: Builds whose features are made at a time.
_LOT = 20_000
ALONE = Processes(1)


class NoFeaturesError(InputError):
    """A folder that holds no features, or features of another data set."""


@dataclass(frozen=True, slots=True)
class Features:
    """Features of a data set and the filling they were made with.

    Attributes
    ----------
    table
        A row a build, indexed by ``sheet_id``: columns of `engineered_features.engineer`, then for
        every field that can be filled whether it was given.
    filling
        What filled the missing fields.
    """

    table: pd.DataFrame
    filling: Filling

    def write(self, folder: Path) -> None:
        """Write table and filling into a folder, made if need be."""
        folder.mkdir(parents=True, exist_ok=True)
        self.table.to_parquet(folder / TABLE)
        save_filling(self.filling, folder / FILLING)


def fit(builds: pd.DataFrame, crew: Crew = ALONE) -> Features:
    """Fit a filling to curated builds and return it with their features.

    The filling is fitted here; ``crew`` fills and engineers, a lot of builds at a time.
    """
    fitted = fill_missing.fit(engineered_features.numbers(builds))
    lots = [builds.iloc[start : start + _LOT] for start in range(0, len(builds), _LOT)]
    return Features(pd.concat(crew.each(partial(make, fitted=fitted), lots)), fitted)


def make(builds: pd.DataFrame, fitted: Filling) -> pd.DataFrame:
    """Return the features of builds under a fitted filling.

    Parameters
    ----------
    builds
        Typed builds, as `build_table.typed_builds` gives them.
    fitted
        The filling.

    Returns
    -------
    A row a build in the same order, indexed by ``sheet_id``; all columns are floats.

    """
    raw = engineered_features.numbers(builds)
    table = engineered_features.engineer(fitted.fill(raw))
    given = {f"{GIVEN}{name}": (~np.isnan(raw[name])).astype(float) for name in FILLED}
    return pd.concat([table, pd.DataFrame(given)], axis=1).set_axis(
        pd.Index(builds["sheet_id"], name="sheet_id"), axis=0
    )


def load(folder: Path, builds: pd.DataFrame) -> Features:
    """Return the features in a folder.

    Raises
    ------
    NoFeaturesError
        There are none, or they are of other builds.

    """
    try:
        table = pd.read_parquet(folder / TABLE)
        fitted = load_filling(folder / FILLING)
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as fault:
        msg = f"{folder} holds no features; make them with: pullbook features"
        raise NoFeaturesError(msg) from fault
    if list(table.index) != list(builds["sheet_id"]):
        msg = f"the features in {folder} are of another data set; make them anew"
        raise NoFeaturesError(msg)
    return Features(table, fitted)


def save_filling(fitted: Filling, path: Path) -> None:
    """Write a filling as plain arrays."""
    with path.open("wb") as file:
        np.savez_compressed(
            file,
            names=np.array(fitted.names, dtype=np.str_),
            center=fitted.center,
            scale=fitted.scale,
            covariance=fitted.covariance,
        )


def load_filling(source: Path | BinaryIO) -> Filling:
    """Read a filling; raises ``ValueError`` or ``KeyError`` where the file holds none."""
    with np.load(source, allow_pickle=False) as arrays:
        return Filling(
            tuple(str(name) for name in arrays["names"]),
            arrays["center"],
            arrays["scale"],
            arrays["covariance"],
        )
