"""How each shop reads on new sheets, against what a model expects of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.curation.shop_consensus import nested

if TYPE_CHECKING:
    from pullbook.model.range.novelty import Floats

#: A known shop is in doubt when its offset has changed by more than ``OFF`` and by more than
#: ``ERRORS`` standard errors: with fifty shops, one is then named by chance in one batch of forty.
#: A new shop is in doubt beyond ``OFF_NEW``, more than shops differ by. Common practice, no source.
OFF, ERRORS, OFF_NEW = 0.03, 3.5, 0.10
#: Fewest new sheets of a shop to judge its offset by.
FEWEST_SHEETS = 3
#: Smallest scatter of a sheet that is assumed, even if a small batch agrees better. Common
#: practice, no source.
_SCATTER = 0.02


class ShopReads(NamedTuple):
    """The offset of a shop's new sheets from what the model expects.

    Attributes
    ----------
    shop
        Its code.
    known
        Whether the model was trained on it.
    sheets
        Number of its new sheets.
    offset, error
        Natural logarithm of measured over expected torque, and its standard error.
    """

    shop: str
    known: bool
    sheets: int
    offset: float
    error: float

    @property
    def doubtful(self) -> bool:
        """Whether the offset is more than shops differ by, or a known shop changes by."""
        far = abs(self.offset) > (OFF if self.known else OFF_NEW)
        return self.sheets >= FEWEST_SHEETS and far and abs(self.offset) > ERRORS * self.error


def shop_reads(fresh: pd.DataFrame, off: Floats, known: pd.Series) -> list[ShopReads]:
    """Return the offsets of shops from what the model expects.

    For a known shop the model expects the shop's own offset, which is less certain the fewer of its
    engines the model has seen (``known``, by code); for a new shop it expects the mean of all.
    Shops are not compared with one another: if all are off, each is. The scatter of sheets, engines
    and families within a shop is estimated from all: sheets of one engine say less.
    """
    if not len(fresh):
        return []
    shop, codes = pd.factorize(fresh["shop"])
    part = pd.factorize(fresh["shop"] + " " + fresh["family"].astype("str").fillna(""))[0]
    sheets = np.bincount(shop)
    offset = np.bincount(shop, off) / sheets
    engine = engines_of(fresh)
    engines = np.bincount(shop[np.unique(engine, return_index=True)[1]])
    noise = np.maximum(nested(off, shop, part).noise, nested(off, shop, engine).noise)
    error = np.maximum(noise, _SCATTER / np.sqrt(engines))
    before = known.reindex(codes).to_numpy(float)
    error *= np.where(np.isnan(before), 1.0, np.sqrt(1 + engines / before))
    return [
        ShopReads(str(code), not np.isnan(seen), int(count), float(apart), float(noise))
        for code, seen, count, apart, noise in zip(
            codes, before, sheets, offset, error, strict=True
        )
    ]
