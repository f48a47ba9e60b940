"""The jury: a share of the shops that no model is trained on, to compare models on.

Only a shop's code decides whether it is on the jury. So a shop on the jury stays there, whoever
else contributes, and no model is ever trained on the sheets it is tested on. Of the data of few
shops the jury is of engines, by their names.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.builds.engine_groups import held_out_groups
from pullbook.pipeline.curation import data_set
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

LEARN, JURY = "learn", "jury"
_BITS = 64


class JuryError(InputError):
    """A data set that cannot be split into shops to learn from and a jury."""


def is_on_jury(name: str, share: float) -> bool:
    """Return whether a shop or an engine is on a jury of about this share of all, by its name.

    >>> is_on_jury("any", 0.0), is_on_jury("any", 1.0)
    (False, True)
    """
    digest = hashlib.sha256(f"jury {name}".encode()).digest()[: _BITS // 8]
    return int.from_bytes(digest, "big") < share * 2.0**_BITS


def seats(groups: pd.Series, share: float) -> NDArray[np.bool_]:
    """Return whether the shop or engine of each sheet is on the jury, shape (sheets,)."""
    seated = {name: is_on_jury(name, share) for name in groups.unique().tolist()}
    return groups.map(seated).to_numpy(dtype=bool)


class Split(NamedTuple):
    """How many there are to learn from and on the jury, and what they are: shops or engines."""

    learn: int
    jury: int
    what: str


def split(builds: pd.DataFrame, pulls: pd.DataFrame, share: float, out: Path) -> Split:
    """Write a curated data set as two, ``learn`` and ``jury``.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    share
        Share of the shops, or of the engines where the shops are few, on the jury, about; between
        0 and 1.
    out
        Folder to write to; it is made if it does not exist.

    Raises
    ------
    JuryError
        There would be nobody on the jury, or fewer than two to learn from.

    """
    groups, what = held_out_groups(builds)
    if not 0 < share < 1:
        msg = f"the share of {what}s is {share:g}; it must be between 0 and 1, such as 0.2"
        raise JuryError(msg)
    seated = seats(groups, share)
    on_jury = builds["sheet_id"][seated]
    of_jury = pulls["sheet_id"].isin(on_jury)
    found = Split(groups[~seated].nunique(), groups[seated].nunique(), what)
    if found.jury == 0 or found.learn < 2:
        msg = (
            f"a share of {share:g} puts {found.jury} of {groups.nunique()} {what}s on the jury; at"
            " least 1 must be on it and 2 left to learn from: choose another share, or wait for"
            f" more {what}s"
        )
        raise JuryError(msg)
    tables = {}  # both parts in one step, or a shop could be in the new one and the old other
    for name, rows, readings in ((LEARN, ~seated, ~of_jury), (JURY, seated, of_jury)):
        tables[f"{name}/{data_set.BUILDS}"] = builds[rows].reset_index(drop=True)
        tables[f"{name}/{data_set.PULLS}"] = pulls[readings].reset_index(drop=True)
    data_set.write(out, tables)
    return found
