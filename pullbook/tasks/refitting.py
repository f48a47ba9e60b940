"""Fit the bundle in use again to all shops, once it was judged, and put that in its place."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError
from pullbook.tasks import training
from pullbook.words.figures import counted

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from pullbook.model.review.promotion_record import Promotion
    from pullbook.model.training.hold_out import Track
    from pullbook.pipeline.curation.read_own import OwnReader


def refit(
    curated: Path,
    registry: Path,
    own: OwnReader | None,
    on: dt.date,
    say: Callable[[str], None],
    track: Track,
) -> Promotion:
    """Train with the settings of the bundle in use on a data set, and put the result in use.

    Parameters
    ----------
    curated, own, say
        As for `training.data`: all that the bundle in use has learned from, and the jury.
    registry
        Folder of promotions.
    on
        The date.
    track
        Shows progress.

    Raises
    ------
    PromotionError
        No bundle is in use, it was refitted already, or another was promoted meanwhile.
    InputError
        The data lacks sheets that the bundle in use has learned from.

    """
    from pullbook.model.review import promotions
    from pullbook.model.training import bundle, train_model

    before = promotions.to_refit(registry)
    model, manifest = bundle.load(before)
    builds, pulls = training.data(curated, own, say)
    missing = set(model.sheet_ids) - set(builds["sheet_id"])
    if missing:
        msg = (
            f"{curated} lacks {counted(len(missing), 'sheet')} that the bundle in use has learned"
            " from; give the whole data set, jury included"
        )
        raise InputError(msg)
    other = training.start_of("", builds, private=bool(manifest["private"]), say=say)
    refitted, _ = training.train(builds, pulls, model.settings, other, train_model.THREADS, track)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "bundle"
        bundle.save(refitted, out, invented=bool(manifest["invented"]))
        shops = counted(len(refitted.shop_codes), "shop")
        why = f"{counted(len(builds), 'sheet')} of {shops}"
        return promotions.succeed(out, registry, str(manifest["id"]), on, why)
