"""Which sheets belong together: those of one engine, and what is held out of a data set."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Data of more shops than this is a circle's: whole shops are held out of it. Of that of fewer,
#: whole engines are.
MOST_SHOPS = 8
SHOP, ENGINE = "shop", "engine"


class Groups(NamedTuple):
    """What is held out of a data set: the group of each sheet, and what a group is."""

    names: pd.Series
    what: str


def engine_keys(builds: pd.DataFrame) -> pd.Series:
    """Return a text for the engine of each sheet, alike for sheets of one engine.

    Sheets of one shop share it where they name the same engine. Those that name none share it where
    they agree in family, cylinders and bore (in displacement where no bore is given), a blank being
    like a blank: too few engines make the limits wider, too many make them untrue.
    """
    named = builds["engine"].notna()
    size = builds[DISPLACEMENT].mask(builds["bore"].notna()).round(1)
    rows = zip(
        builds["shop"], builds["engine"], named, builds["family"], builds["cylinders"],
        builds["bore"], size, strict=True,
    )  # fmt: skip
    keys = [
        f"{shop}\n{engine}" if has else "\n".join(map(_text, (shop, *others)))
        for shop, engine, has, *others in rows
    ]
    return pd.Series(keys, index=builds.index, dtype=object)


def _text(value: object) -> str:
    return "" if pd.isna(value) else str(value)  # type: ignore[call-overload]


def engines_of(builds: pd.DataFrame) -> NDArray[np.int64]:
    """Return the number of the engine of each sheet, as `engine_keys` tells them, shape (sheets,).

    They are numbered in the order in which they appear.
    """
    numbers, _ = pd.factorize(engine_keys(builds))
    return np.asarray(numbers, dtype=np.int64)


def held_out_groups(builds: pd.DataFrame) -> Groups:
    """Return what is held out of a data set: its shops, or its engines where the shops are few."""
    if builds["shop"].nunique() > MOST_SHOPS:
        return Groups(builds["shop"], SHOP)
    return Groups(engine_keys(builds), ENGINE)
