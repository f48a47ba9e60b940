"""The record of promotions: a line for each, of which bundle took whose place, and why."""

from __future__ import annotations

import csv
import datetime as dt
from dataclasses import astuple, dataclass, fields, replace
from typing import TYPE_CHECKING

from pullbook.model.bundles.bundle_folder import IDENTITY
from pullbook.model.review.judgement import Verdict
from pullbook.pipeline.storage import csv_text, plain_text, regular_files, whole_writes
from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from pathlib import Path

RECORD = "promotions.csv"
BACK, FIRST, UNJUDGED, REFIT = "back", "first", "unjudged", "refit"
_VERDICTS = {BACK, FIRST, UNJUDGED, REFIT, *(one.value for one in Verdict)}
_MOST_BYTES = 10_000_000


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
        Verdict of the judgement; ``first``, ``back`` or ``refit`` if there was none.
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


def current(folder: Path) -> Path:
    """Return the bundle of a folder: the folder itself, or the one in use of a registry."""
    must_exist(folder)
    record = history(folder)
    return folder / record[-1].bundle if record else folder


def _unreadable(folder: Path) -> str:
    return f"{folder / RECORD} cannot be read as a record of promotions; restore it from a copy"


def _is_sound(one: Promotion) -> bool:
    """Return whether a line can be one of ours: ids name folders, so nothing else may be an id."""
    dt.date.fromisoformat(one.on)
    before = one.before == "" or IDENTITY.fullmatch(one.before) is not None
    return IDENTITY.fullmatch(one.bundle) is not None and before and one.verdict in _VERDICTS


def earlier(record: list[Promotion]) -> str | None:
    """Return the bundle in use before the last one that was not itself a step back."""
    stack = in_use(record)
    return stack[-2].bundle if len(stack) > 1 else None


def judged(record: list[Promotion]) -> str:
    """Return the bundle in use, or the one that it was refitted from; blank for none."""
    stack = in_use(record)
    if not stack:
        return ""
    return stack[-1].before if stack[-1].verdict == REFIT else stack[-1].bundle


def in_use(record: list[Promotion]) -> list[Promotion]:
    """Return the promotions that were not taken back; the last one is of the bundle in use."""
    stack: list[Promotion] = []
    for one in record:
        if one.verdict == BACK:
            del stack[-1:]
        else:
            stack.append(one)
    return stack


def add(folder: Path, record: list[Promotion], one: Promotion) -> Promotion:
    """Write a record with one more line, and return that line as it was written."""
    one = replace(one, why=plain_text.one_line(one.why))
    names = [field.name for field in fields(Promotion)]
    rows = [names, *(astuple(line) for line in [*record, one])]
    whole_writes.write_text(folder / RECORD, csv_text.text(rows))
    return one
