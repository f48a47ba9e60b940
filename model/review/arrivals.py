"""The sheets that are new, changed or gone between two data sets."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from pullbook.model.trained.trained_model import Model


@dataclass(frozen=True, slots=True)
class Arrivals:
    """The sheets that are new, changed or gone between two data sets.

    Attributes
    ----------
    new
        Whether each build is new or has changed.
    changed, gone
        Names of sheets that have changed, and of sheets that are no longer there.
    new_shops, new_families
        Codes of shops and names of families that were not there before.
    """

    new: np.ndarray
    changed: list[str]
    gone: list[str]
    new_shops: list[str]
    new_families: list[str]


def version_of(builds: pd.DataFrame) -> str:
    """Return the version of a data set: a digest of its sheets' contents, in any order."""
    contents = "\n".join(sorted(builds["content"]))
    return hashlib.sha256(contents.encode()).hexdigest()[:16]


def arrivals(builds: pd.DataFrame, earlier: pd.DataFrame) -> Arrivals:
    """Return what is new in curated builds compared with earlier ones."""
    keys = [pd.MultiIndex.from_frame(one[["shop", "sheet_id"]]) for one in (builds, earlier)]
    new = ~builds["content"].isin(set(earlier["content"])).to_numpy(dtype=bool)
    changed = new & keys[0].isin(keys[1])
    gone = ~keys[1].isin(keys[0]) & ~earlier["content"].isin(set(builds["content"])).to_numpy()
    families = builds["family"].dropna()
    return Arrivals(
        new=new,
        changed=builds["sheet_id"][changed].tolist(),
        gone=earlier["sheet_id"][gone].tolist(),
        new_shops=_added(builds["shop"], earlier["shop"]),
        new_families=_added(families, earlier["family"].dropna()),
    )


def learned_by(model: Model, builds: pd.DataFrame) -> pd.DataFrame:
    """Return the builds that a model learned from, to be compared with curated builds of today.

    They are known by shop and name: a bundle holds no digests, so that a sheet of the same name
    counts as unchanged.
    """
    now = dict(zip(zip(builds["shop"], map(bare, builds["sheet_id"]), strict=True),
                   builds["content"], strict=True))  # fmt: skip
    known = zip(model.fields["shop"], map(bare, model.sheet_ids), strict=True)
    return model.fields.assign(
        sheet_id=list(model.sheet_ids), content=[now.get(one, "\n".join(one)) for one in known]
    )


def bare(sheet_id: str) -> str:
    """Return a sheet's own name, without the suffix for its shop."""
    return sheet_id.rsplit("@", 1)[0]


def _added(now: pd.Series, before: pd.Series) -> list[str]:
    return [str(one) for one in now.unique().tolist() if one not in set(before)]
