"""The jury: a share of the shops that no model is trained on, to compare models on.

Only a shop's code decides whether it is on the jury. So a shop on the jury stays there, whoever
else contributes, and no model is ever trained on the sheets it is tested on.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

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


def is_on_jury(shop: str, share: float) -> bool:
    """Return whether a shop is on a jury of about this share of all shops, by its code.

    >>> is_on_jury("any", 0.0), is_on_jury("any", 1.0)
    (False, True)
    """
    digest = hashlib.sha256(f"jury {shop}".encode()).digest()[: _BITS // 8]
    return int.from_bytes(digest, "big") < share * 2.0**_BITS


def seats(shops: pd.Series, share: float) -> NDArray[np.bool_]:
    """Return whether the shop of each sheet is on the jury, shape (sheets,)."""
    seated = {shop: is_on_jury(shop, share) for shop in shops.unique().tolist()}
    return shops.map(seated).to_numpy(dtype=bool)


def split(builds: pd.DataFrame, pulls: pd.DataFrame, share: float, out: Path) -> tuple[int, int]:
    """Write a curated data set as two, ``learn`` and ``jury``; return the number of shops in each.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    share
        Share of the shops on the jury, about; between 0 and 1.
    out
        Folder to write to; it is made if it does not exist.

    Raises
    ------
    JuryError
        There would be no shop on the jury, or fewer than two shops to learn from.

    """
    if not 0 < share < 1:
        msg = f"the share of shops is {share:g}; it must be between 0 and 1, such as 0.2"
        raise JuryError(msg)
    seated = seats(builds["shop"], share)
    on_jury = builds["sheet_id"][seated]
    of_jury = pulls["sheet_id"].isin(on_jury)
    shops = {name: builds["shop"][rows].nunique() for name, rows in
             ((LEARN, ~seated), (JURY, seated))}  # fmt: skip
    if shops[JURY] == 0 or shops[LEARN] < 2:
        msg = (
            f"a share of {share:g} puts {shops[JURY]} of {builds['shop'].nunique()} shops on the"
            " jury; at least 1 must be on it and 2 left to learn from: choose another share, or"
            " wait for more shops"
        )
        raise JuryError(msg)
    for name, rows, readings in ((LEARN, ~seated, ~of_jury), (JURY, seated, of_jury)):
        tables = {data_set.BUILDS: builds[rows], data_set.PULLS: pulls[readings]}
        data_set.write(out / name, {k: t.reset_index(drop=True) for k, t in tables.items()})
    return shops[LEARN], shops[JURY]
