"""How rare a build is: the number of shops in a data set that have a similar one."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT, SIZE_FIELDS, size_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.field import Value

#: Builds have the same engine if bore and stroke differ by less than this share.
_SIZE = 0.012
#: Builds are similar if these fields differ by no more than this, when both give them.
_ALIKE = {"compression_ratio": 0.5, "intake_duration": 6.0, "exhaust_duration": 6.0,
          "lobe_separation": 2.0, "boost": 2.0}  # fmt: skip
_SAME = ("aspiration", "intake_type", "fuel_metering", "exhaust_type", "fuel", "arrangement")


class Rarity(NamedTuple):
    """Number of shops with the same engine, and with a similar build."""

    engine: int
    build: int


def rarity(values: Mapping[str, Value], builds: pd.DataFrame) -> Rarity:
    """Return how many shops of a data set have the same engine, and a similar build.

    Parameters
    ----------
    values
        Fields of the build. Its own shop, given as a code, is not counted.
    builds
        Curated builds.

    """
    own = builds["shop"].to_numpy() != values.get("shop")
    engine = own & (builds["cylinders"] == values["cylinders"]).to_numpy(dtype=bool, na_value=False)
    lengths = [name for name in SIZE_FIELDS[:2] if values.get(name) is not None]
    sizes = {name: builds[name].to_numpy(dtype=float) for name in lengths}
    if len(lengths) < 2:
        sizes[DISPLACEMENT] = np.asarray(size_of(builds).engine)
    for name, others in sizes.items():
        off = np.abs(np.log(others / float(values[name])))  # type: ignore[arg-type]
        engine &= np.isnan(off) | (off < _SIZE)
    alike = engine.copy()
    for name, most in _ALIKE.items():
        if isinstance(given := values.get(name), int | float):
            others = builds[name].to_numpy(dtype=float, na_value=np.nan)
            alike &= np.isnan(others) | (np.abs(others - given) <= most)
    for name in _SAME:
        given = values.get(name) or ("natural" if name == "aspiration" else None)
        if given is not None:
            alike &= (builds[name].isna() | (builds[name] == given)).to_numpy(dtype=bool)
    shops = builds["shop"]
    return Rarity(int(shops[engine].nunique()), int(shops[alike].nunique()))
