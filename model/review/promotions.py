"""Which bundle is in use, which were in use before, and why each replaced the one before it.

A registry is a folder with a line for each promotion in ``promotions.csv``, and the bundles beside
it, each under its id. Nothing is ever removed from either.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.model.review import promotion_record
from pullbook.model.review.judgement import Verdict
from pullbook.model.review.promotion_record import Promotion, PromotionError
from pullbook.model.training import bundle
from pullbook.pipeline.storage import locks, whole_writes
from pullbook.schemas.errors import must_exist

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping
    from pathlib import Path

_NOT_JUDGED = "the judgement was not written by pullbook judge; run it and name the file it writes"
_GOOD = (Verdict.BETTER.value, Verdict.NO_WORSE.value)


def judged(folder: Path) -> Path:
    """Return the bundle to judge another against: the one in use, or the one it was refitted from.

    A bundle refitted on all shops has learned from the jury; the one that was judged stands for it.
    """
    must_exist(folder)
    record = promotion_record.history(folder)
    return folder / promotion_record.judged(record) if record else folder


def to_refit(folder: Path) -> Path:
    """Return the bundle in use of a registry, which was not itself refitted.

    Raises
    ------
    PromotionError
        None is in use, or it was refitted already.

    """
    must_exist(folder)
    stack = promotion_record.in_use(promotion_record.history(folder))
    if not stack:
        msg = f"{folder} has no bundle in use; put one there with pullbook promote"
        raise PromotionError(msg)
    if stack[-1].verdict == promotion_record.REFIT:
        msg = (
            f"bundle {stack[-1].bundle} in use was refitted from {stack[-1].before} already; judge"
            " and promote a new one first"
        )
        raise PromotionError(msg)
    return folder / stack[-1].bundle


def succeed(candidate: Path, folder: Path, before: str, on: dt.date, why: str) -> Promotion:
    """Put a bundle in use that is the one in use, fitted again to all shops.

    Parameters
    ----------
    candidate
        The refitted bundle.
    folder
        The registry.
    before
        Id of the bundle that it was refitted from.
    on, why
        The date, and what it was fitted to.

    Raises
    ------
    BundleError
        The candidate does not verify.
    PromotionError
        Another bundle was put in use meanwhile, or the data brought nothing new.

    """
    contents = bundle.read(candidate)
    bundle.load(candidate)
    identity = str(contents.manifest["id"])
    with locks.inside(folder):
        record = promotion_record.history(folder)
        if not record or record[-1].bundle != before:
            msg = f"bundle {before} is no longer in use, so nothing was changed; refit again"
            raise PromotionError(msg)
        if identity == before:
            msg = f"bundle {before} has learned from all of this data already"
            raise PromotionError(msg)
        whole_writes.write_folder(folder / identity, contents.all_files())
        return promotion_record.add(
            folder, record, Promotion(on.isoformat(), identity, before, promotion_record.REFIT, why)
        )


def promote(
    candidate: Path,
    folder: Path,
    judgement: Mapping[str, Any] | None,
    on: dt.date,
    although: str = "",
) -> Promotion:
    """Replace the bundle in use by another.

    Parameters
    ----------
    candidate
        The new bundle.
    folder
        The registry, created if needed.
    judgement
        Judgement of the candidate against the one in use, from `Judgement.as_json`.
    on
        The date.
    although
        Why it is promoted although the judgement is not in its favour.

    Raises
    ------
    BundleError
        The candidate does not verify.
    PromotionError
        It is already in use; or it was not judged against the one in use, or was not good enough,
        and no reason was given.

    """
    must_exist(candidate)
    contents = bundle.read(candidate)
    bundle.load(candidate)
    identity = str(contents.manifest["id"])
    folder.mkdir(parents=True, exist_ok=True)
    with locks.inside(folder):
        record = promotion_record.history(folder)
        before = record[-1].bundle if record else ""
        if identity == before:
            msg = f"bundle {identity} is already in use"
            raise PromotionError(msg)
        verdict = _verdict(identity, promotion_record.judged(record), judgement)
        if before and verdict not in _GOOD and not although.strip():
            reasons = (
                "; ".join(judgement["reasons"])
                if judgement and verdict != promotion_record.UNJUDGED
                else ""
            )
            msg = (
                f"bundle {identity} is not promoted: {_objection(verdict, before)}"
                f"{': ' + reasons if reasons else ''}. To promote it anyway, give a reason:"
                ' --although "..."'
            )
            raise PromotionError(msg)
        # The files that were checked are written, not whatever lies in the folder by now.
        whole_writes.write_folder(folder / identity, contents.all_files())
        return promotion_record.add(
            folder, record, Promotion(on.isoformat(), identity, before, verdict, although)
        )


def back(folder: Path, on: dt.date, why: str = "") -> Promotion:
    """Put the bundle that was in use before the last promotion back in use.

    Raises
    ------
    PromotionError
        There is none to go back to.

    """
    must_exist(folder)
    with locks.inside(folder):
        record = promotion_record.history(folder)
        before = promotion_record.earlier(record)
        if before is None:
            msg = (
                f"{folder} has no earlier bundle to go back to; pullbook promote puts another in"
                " use"
            )
            raise PromotionError(msg)
        bundle.load(folder / before)
        return promotion_record.add(
            folder,
            record,
            Promotion(on.isoformat(), before, record[-1].bundle, promotion_record.BACK, why),
        )


def _verdict(identity: str, before: str, judgement: Mapping[str, Any] | None) -> str:
    if not before:
        return promotion_record.FIRST
    if judgement is None:
        return promotion_record.UNJUDGED
    try:
        both = (judgement["old"]["id"], judgement["new"]["id"])
        verdict = Verdict(judgement["verdict"])
        sound = isinstance(judgement["reasons"], list)
        sound = sound and all(isinstance(one, str) for one in judgement["reasons"])
    except (KeyError, TypeError, ValueError) as fault:
        raise PromotionError(_NOT_JUDGED) from fault
    if not sound:
        raise PromotionError(_NOT_JUDGED)
    return verdict.value if both == (before, identity) else promotion_record.UNJUDGED


def _objection(verdict: str, before: str) -> str:
    if verdict == promotion_record.UNJUDGED:
        return f"it was not judged against {before}, which is in use (run pullbook judge)"
    return f"the verdict is {verdict!r}"
