"""Which bundle is in use, which were in use before, and why each replaced the one before it.

A registry is a folder with a line for each promotion in ``promotions.csv``, and the bundles beside
it, each under its id. Nothing is ever removed from either.
"""

from __future__ import annotations

import csv
import datetime as dt
from dataclasses import astuple, dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from pullbook.model.bundles.bundle_folder import IDENTITY
from pullbook.model.review.judgement import Verdict
from pullbook.model.training import bundle
from pullbook.pipeline.storage import csv_text, locks, plain_text, regular_files, whole_writes
from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

RECORD = "promotions.csv"
_BACK, _FIRST, _UNJUDGED = "back", "first", "unjudged"
_VERDICTS = {_BACK, _FIRST, _UNJUDGED, *(one.value for one in Verdict)}
_MOST_BYTES = 10_000_000
_NOT_JUDGED = "the judgement was not written by pullbook judge; run it and name the file it writes"
_GOOD = (Verdict.BETTER.value, Verdict.NO_WORSE.value)


class PromotionError(InputError):
    """A promotion that is refused; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Promotion:
    """One line of the record.

    Attributes
    ----------
    on
        ISO date.
    bundle, before
        Id of the bundle, and of the one it replaced; blank for the first.
    verdict
        Verdict of the judgement; ``first`` or ``back`` if there was none.
    why
        The reason that was given.
    """

    on: str
    bundle: str
    before: str
    verdict: str
    why: str


def history(folder: Path) -> list[Promotion]:
    """Return the promotions of a registry, the oldest first; none if there is no registry.

    Raises
    ------
    PromotionError
        The record cannot be read.

    """
    names = [field.name for field in fields(Promotion)]
    try:
        text = regular_files.read(folder / RECORD, _MOST_BYTES).decode()
        head, *rows = list(csv_text.rows(text)) or [[]]
        found = [Promotion(*row) for row in rows]
        sound = head == names and all(map(_is_sound, found))
    except (FileNotFoundError, NotADirectoryError):
        return []
    except (OSError, TypeError, ValueError, csv.Error) as fault:
        raise PromotionError(_unreadable(folder)) from fault
    if not sound:
        raise PromotionError(_unreadable(folder))
    return found


def _unreadable(folder: Path) -> str:
    return f"{folder / RECORD} cannot be read as a record of promotions; restore it from a copy"


def _is_sound(one: Promotion) -> bool:
    """Return whether a line can be one of ours: ids name folders, so nothing else may be an id."""
    dt.date.fromisoformat(one.on)
    before = one.before == "" or IDENTITY.fullmatch(one.before) is not None
    return IDENTITY.fullmatch(one.bundle) is not None and before and one.verdict in _VERDICTS


def current(folder: Path) -> Path:
    """Return the bundle of a folder: the folder itself, or the one in use of a registry."""
    must_exist(folder)
    record = history(folder)
    return folder / record[-1].bundle if record else folder


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
        record = history(folder)
        before = record[-1].bundle if record else ""
        if identity == before:
            msg = f"bundle {identity} is already in use"
            raise PromotionError(msg)
        verdict = _verdict(identity, before, judgement)
        if before and verdict not in _GOOD and not although.strip():
            reasons = "; ".join(judgement["reasons"]) if judgement and verdict != _UNJUDGED else ""
            msg = (
                f"bundle {identity} is not promoted: {_objection(verdict, before)}"
                f"{': ' + reasons if reasons else ''}. To promote it anyway, give a reason:"
                ' --although "..."'
            )
            raise PromotionError(msg)
        # The files that were checked are written, not whatever lies in the folder by now.
        whole_writes.write_folder(folder / identity, contents.all_files())
        return _add(folder, record, Promotion(on.isoformat(), identity, before, verdict, although))


def back(folder: Path, on: dt.date, why: str = "") -> Promotion:
    """Put the bundle that was in use before the last promotion back in use.

    Raises
    ------
    PromotionError
        There is none to go back to.

    """
    must_exist(folder)
    with locks.inside(folder):
        record = history(folder)
        before = _earlier(record)
        if before is None:
            msg = (
                f"{folder} has no earlier bundle to go back to; pullbook promote puts another in"
                " use"
            )
            raise PromotionError(msg)
        bundle.load(folder / before)
        return _add(
            folder, record, Promotion(on.isoformat(), before, record[-1].bundle, _BACK, why)
        )


def _earlier(record: list[Promotion]) -> str | None:
    """Return the bundle in use before the last one that was not itself a step back."""
    stack: list[str] = []
    for one in record:
        if one.verdict == _BACK:
            del stack[-1:]
        else:
            stack.append(one.bundle)
    return stack[-2] if len(stack) > 1 else None


def _verdict(identity: str, before: str, judgement: Mapping[str, Any] | None) -> str:
    if not before:
        return _FIRST
    if judgement is None:
        return _UNJUDGED
    try:
        both = (judgement["old"]["id"], judgement["new"]["id"])
        verdict = Verdict(judgement["verdict"])
        sound = isinstance(judgement["reasons"], list)
        sound = sound and all(isinstance(one, str) for one in judgement["reasons"])
    except (KeyError, TypeError, ValueError) as fault:
        raise PromotionError(_NOT_JUDGED) from fault
    if not sound:
        raise PromotionError(_NOT_JUDGED)
    return verdict.value if both == (before, identity) else _UNJUDGED


def _objection(verdict: str, before: str) -> str:
    if verdict == _UNJUDGED:
        return f"it was not judged against {before}, which is in use (run pullbook judge)"
    return f"the verdict is {verdict!r}"


def _add(folder: Path, record: list[Promotion], one: Promotion) -> Promotion:
    one = replace(one, why=plain_text.one_line(one.why))
    names = [field.name for field in fields(Promotion)]
    rows = [names, *(astuple(line) for line in [*record, one])]
    whole_writes.write_text(folder / RECORD, csv_text.text(rows))
    return one
