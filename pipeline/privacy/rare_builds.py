"""How rare a build is: how many shops of a data set have one like it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.fields import Value

#: Builds are of one engine when bore and stroke differ by less than this share.
_SIZE = 0.012
#: Builds are alike when these fields differ by no more, where both give them.
_ALIKE = {"compression_ratio": 0.5, "intake_duration": 6.0, "exhaust_duration": 6.0,
          "lobe_separation": 2.0, "boost": 2.0}  # fmt: skip
_SAME = ("aspiration", "intake_type", "fuel_metering", "exhaust_type", "fuel", "arrangement")


class Rarity(NamedTuple):
    """How many shops have the engine, and how many a build like it."""

    engine: int
    build: int


def rarity(values: Mapping[str, Value], builds: pd.DataFrame) -> Rarity:
    """Return how many shops of a data set have the engine of a build, and a build like it.

    Parameters
    ----------
    values
        Fields of the build. A shop of its own, given as a code, is not counted.
    builds
        Curated builds.

    """
    own = builds["shop"].to_numpy() != values.get("shop")
    engine = own & (builds["cylinders"] == values["cylinders"]).to_numpy(dtype=bool, na_value=False)
    for name in ("bore", "stroke"):
        there = builds[name].to_numpy(dtype=float)
        engine &= np.abs(np.log(there / float(values[name]))) < _SIZE  # type: ignore[arg-type]
    alike = engine.copy()
    for name, apart in _ALIKE.items():
        if isinstance(given := values.get(name), int | float):
            there = builds[name].to_numpy(dtype=float, na_value=np.nan)
            alike &= np.isnan(there) | (np.abs(there - given) <= apart)
    for name in _SAME:
        given = values.get(name) or ("natural" if name == "aspiration" else None)
        if given is not None:
            alike &= (builds[name].isna() | (builds[name] == given)).to_numpy(dtype=bool)
    shops = builds["shop"]
    return Rarity(int(shops[engine].nunique()), int(shops[alike].nunique()))
