"""Removing fields at random, to learn how much wider the limits of a sparse build must be.

Most sheets of a data set give most fields, but a builder may know only the displacement and the cam
card. So the expected error is also learned from held-out sheets with some fields removed at random.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    import pandas as pd

#: Fields that a build must have, or whose absence has a meaning.
_KEPT = (
    "aspiration", "boost", DISPLACEMENT, *(n for n in BUILD_FIELDS if FIELDS[n].required)
)  # fmt: skip


def withhold(builds: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return builds with some fields removed at random: few of one build, nearly all of another.

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
