"""The table that a model is trained on: features of filled builds, and which fields were given."""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from functools import partial
from io import BytesIO
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
import pandas as pd

from pullbook.pipeline.features import engineered_features, fill_missing, one_engine
from pullbook.pipeline.features.fill_missing import FILLED, Filling
from pullbook.pipeline.parallel.workers import Processes
from pullbook.pipeline.storage import whole_writes
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from pullbook.pipeline.parallel.workers import Crew

TABLE, FILLING = "features.parquet", "filling.npz"
#: Prefix of the columns that show whether a field was given (1) or filled (0).
GIVEN = "given_"
#: Number of builds whose features are worked out at a time.
_LOT = 20_000
ALONE = Processes(1)


class NoFeaturesError(InputError):
    """A folder without features, or with features of another data set."""


@dataclass(frozen=True, slots=True)
class Features:
    """Features of a data set, and the filling they were made with.

    Attributes
    ----------
    table
        One row per build, indexed by ``sheet_id``: the columns of `engineered_features.engineer`,
        then one column per field that can be filled, which shows whether it was given.
    filling
        The model that filled the missing fields.
    """

    table: pd.DataFrame
    filling: Filling

    def write(self, folder: Path) -> None:
        """Write table and filling to a folder; it is made if it does not exist."""
        table, filling = BytesIO(), BytesIO()
        self.table.to_parquet(table)
        save_filling(self.filling, filling)
        files = {TABLE: table.getvalue(), FILLING: filling.getvalue()}
        whole_writes.write_folder(folder, files)


def fit(builds: pd.DataFrame, workers: Crew = ALONE) -> Features:
    """Fit a filling to curated builds and return it with their features.

    The filling is fitted in this process; ``workers`` fill and work out features, one lot of
    builds at a time.
    """
    fitted = fill_missing.fit(engineered_features.numbers(builds))
    lots = [builds.iloc[start : start + _LOT] for start in range(0, len(builds), _LOT)]
    return Features(pd.concat(workers.each(partial(make, fitted=fitted), lots)), fitted)


def filled(builds: pd.DataFrame, fitted: Filling) -> Features:
    """Return the features of builds, filled with a filling that was fitted to others."""
    return Features(make(builds, fitted), fitted)


def make(
    builds: pd.DataFrame, fitted: Filling, engine: NDArray[np.int64] | None = None
) -> pd.DataFrame:
    """Return the features of builds, filled with a fitted filling.

    Parameters
    ----------
    builds
        Typed builds, as `build_table.typed_builds` returns them.
    fitted
        The filling.
    engine
        Number of the engine of each build, below 0 for one that stands alone, shape (builds,):
        builds of one engine complete one another. ``None`` if all stand alone.

    Returns
    -------
    One row per build, in the same order, indexed by ``sheet_id``; all columns are floats.

    """
    raw = engineered_features.numbers(builds)
    shared: list[one_engine.Shared] = []
    if engine is not None:
        raw, shared = one_engine.complete(raw, engine)
    table = engineered_features.engineer(one_engine.share(fitted.fill(raw), shared))
    given = {f"{GIVEN}{name}": (~np.isnan(raw[name])).astype(float) for name in FILLED}
    return pd.concat([table, pd.DataFrame(given)], axis=1).set_axis(
        pd.Index(builds["sheet_id"], name="sheet_id"), axis=0
    )


def load(folder: Path, builds: pd.DataFrame) -> Features:
    """Return the features in a folder.

    Raises
    ------
    NoFeaturesError
        The folder has no features, or features of other builds.

    """
    try:
        table = pd.read_parquet(folder / TABLE)
        fitted = load_filling(folder / FILLING)
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        msg = f"{folder} has no features in it; make them with: pullbook features"
        raise NoFeaturesError(msg) from error
    if list(table.index) != list(builds["sheet_id"]):
        msg = (
            f"the features in {folder} are of another data set; make new ones with: pullbook"
            " features"
        )
        raise NoFeaturesError(msg)
    return Features(table, fitted)


def save_filling(fitted: Filling, file: BinaryIO) -> None:
    """Write a filling as plain arrays."""
    np.savez_compressed(
        file,
        names=np.array(fitted.names, dtype=np.str_),
        center=fitted.center,
        scale=fitted.scale,
        covariance=fitted.covariance,
    )


def load_filling(source: Path) -> Filling:
    """Read a filling; raises ``ValueError`` or ``KeyError`` if the file does not have one."""
    with np.load(source, allow_pickle=False) as arrays:
        return filling_of(arrays)


def filling_of(arrays: Mapping[str, NDArray[Any]]) -> Filling:
    """Return the filling in plain arrays."""
    return Filling(
        tuple(str(name) for name in arrays["names"]),
        arrays["center"],
        arrays["scale"],
        arrays["covariance"],
    )
