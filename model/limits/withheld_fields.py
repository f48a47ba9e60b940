"""Withholding: sheets that say less than they could, to learn how limits must widen.

Most sheets of a data set say most of what can be said, and a builder with a bore, a stroke and a
cam card says little. So the spread is also learned from held-out sheets some of whose fields are
taken away by chance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    import pandas as pd

#: Fields that a build must have, or whose lack says something of its own.
_KEPT = ("aspiration", "boost", *(name for name in BUILD_FIELDS if FIELDS[name].required))


def withhold(builds: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return builds with some of their fields taken away: of one build few, of another nearly all.

    Parameters
    ----------
    builds
        Curated builds.
    rng
        Random generator.

    """
    share = rng.uniform(0, 1, len(builds))
    poorer = builds.copy()
    for name in BUILD_FIELDS:
        if name not in _KEPT:
            poorer[name] = builds[name].mask(rng.uniform(0, 1, len(builds)) < share)
    return poorer
