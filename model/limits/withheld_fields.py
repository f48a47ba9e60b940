"""Removing fields, to learn how much wider the limits of a sparse build must be.

Most sheets of a data set give most fields, but a builder may know only the displacement and the cam
card. So the expected error is also learned from held-out sheets with some fields removed: at
random, or together, as other sheets leave them out by the habit of their shop.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    import pandas as pd

#: Share of the builds whose fields are left out together, as another sheet leaves them out.
_TOGETHER = 0.5
#: Fields that a build must have, or whose absence has a meaning.
_KEPT = (
    "aspiration", "boost", DISPLACEMENT, *(n for n in BUILD_FIELDS if FIELDS[n].required)
)  # fmt: skip


def withhold(builds: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return builds with some fields removed.

    Every second build, at random: few fields of one, nearly all of another. Of the others, all
    that another sheet of the data leaves out.

    Parameters
    ----------
    builds
        Curated builds.
    rng
        Random generator.

    """
    share = rng.uniform(0, 1, len(builds))
    together = rng.uniform(0, 1, len(builds)) < _TOGETHER
    like = rng.integers(0, len(builds), len(builds))
    poorer = builds.copy()
    for name in BUILD_FIELDS:
        if name not in _KEPT:
            at_random = rng.uniform(0, 1, len(builds)) < share
            elsewhere = builds[name].isna().to_numpy()[like]
            poorer[name] = builds[name].mask(np.where(together, elsewhere, at_random))
    return poorer
