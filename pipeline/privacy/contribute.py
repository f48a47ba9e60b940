"""Contributing: check, anonymise, and put every sheet where it belongs.

Accepted sheets are written anew in plain units under the shop's code; a corrected one takes the
place of the old, which is kept beside. Refused ones are written with their findings, as they were
but for the shop's name and the free text, so that they can be mended and sent again; their
originals are kept sealed. What the contributor has is only read.

Whatever is written is written whole or not at all, under a lock: killed at any moment and run
again, a contribution ends in the same state.
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.privacy import anonymise
from pullbook.pipeline.privacy.contributed_sheet import sheet_text
from pullbook.pipeline.privacy.refused_sheets import (
    ACCEPTED,
    NAME_CHARS,
    PART,
    REFUSED,
    SUPERSEDED,
    Refusal,
    file_name,
    write_refused,
    write_whole,
)
from pullbook.pipeline.values.headings import PLAIN

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pullbook.pipeline.values.headings import Headings
    from pullbook.pipeline.values.sheet import RawSheet, Sheet

_PATIENCE = 600.0


@dataclass(slots=True)
class Entry:
    """A sheet that is accepted: itself, and the file it becomes.

    Attributes
    ----------
    sheet
        Anonymised.
    name
        Of the file; it says nothing, and is the same for the same shop and sheet.
    text
        All that leaves the contributor.
    origin
        Keyed code of where the sheet was read from.
    """

    sheet: Sheet
    name: str
    text: str
    origin: str


@dataclass(slots=True)
class Plan:
    """What a contribution will write: every sheet is in exactly one of the lists.

    Attributes
    ----------
    accepted, refused
        The sheets.
    passed_over
        Files that carry no sheets by their name.
    """

    accepted: list[Entry] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)
    passed_over: list[Path] = field(default_factory=list)


@dataclass(slots=True)
class Outcome:
    """What a contribution has written.

    Attributes
    ----------
    plan
        What it was to write.
    new, superseding, unchanged
        How many of the accepted sheets were not there before, took the place of an earlier one,
        and stood there already or were said twice.
    """

    plan: Plan
    new: int = 0
    superseding: int = 0
    unchanged: int = 0


def plan(
    paths: Iterable[Path], key: bytes, headings: Headings = PLAIN, into: Path | None = None
) -> Plan:
    """Read, judge and anonymise sheets; nothing is written.

    Parameters
    ----------
    paths
        Where the sheets lie.
    key
        The contributor's key.
    headings
        What headings mean, the shop's own among them.
    into
        Where the contribution will be written; what lies there is no sheet of the shop's.

    Raises
    ------
    NothingToReadError
        A path holds no sheets.

    """
    read = checked_sheets.read(paths, check_sheet.CONTRIBUTION_RULES, headings, into)
    made = Plan(passed_over=read.passed_over)
    home = (into or Path()).resolve()
    met: Counter[str] = Counter()
    for raw, sheet in zip(read.raws, read.sheets, strict=True):
        where = _where(raw, home)
        origin = anonymise.code(key, f"{where}\n{met[where]}")
        met[where] += 1
        if sheet.accepted:
            anonymise.anonymise(sheet, key)
            text = sheet_text(sheet.values, sheet.readings)
            made.accepted.append(Entry(sheet, file_name(key, sheet), text, origin[:NAME_CHARS]))
        else:
            made.refused.append(Refusal(raw, sheet, origin[:NAME_CHARS]))
    return made


def _where(raw: RawSheet, home: Path) -> str:
    """Return where a sheet was read from, as seen from a folder; of a file with many, its name too.

    Seen from the contribution, so that all of it can be moved and says the same there.
    """
    alone = len(raw.files) == 1 and raw.files[0].suffix.casefold() != ".xlsx"
    files = [_seen_from(home, file.resolve()) for file in raw.files]
    return f"{files}\n{'' if alone else raw.sheet_id}"


def _seen_from(home: Path, file: Path) -> str:
    try:
        return Path(os.path.relpath(file, home)).as_posix()
    except ValueError:  # on another drive
        return file.as_posix()


def contribute(
    paths: Iterable[Path], into: Path, key: bytes, headings: Headings = PLAIN
) -> Outcome:
    """Check and anonymise sheets and write them below a folder; see `plan`.

    Parameters
    ----------
    paths, key, headings
        As for `plan`.
    into
        The folder; ``accepted``, ``refused`` and ``superseded`` are made in it.

    Raises
    ------
    NothingToReadError
        A path holds no sheets; nothing is written then.
    TimeoutError
        Another contribution is writing into the folder and does not end.

    """
    from filelock import FileLock, Timeout  # noqa: PLC0415 - only where something is written

    outcome = Outcome(plan(paths, key, headings, into))
    for folder in (ACCEPTED, REFUSED):
        (into / folder).mkdir(parents=True, exist_ok=True)
    try:
        with FileLock(into / ".lock", timeout=_PATIENCE):
            for part in into.rglob(f".*{PART}"):
                part.unlink()  # left behind by a run that was killed
            _write_all(outcome, into, key)
    except Timeout as fault:
        msg = f"another contribution is writing into {into} and does not end"
        raise TimeoutError(msg) from fault
    return outcome


def _write_all(outcome: Outcome, into: Path, key: bytes) -> None:
    for entry in outcome.plan.accepted:
        path = into / ACCEPTED / entry.name
        data = entry.text.encode()
        old = path.read_bytes() if path.is_file() else None
        if old is None:
            outcome.new += 1
        elif old == data:
            outcome.unchanged += 1
        else:
            outcome.superseding += 1
            _keep(into / SUPERSEDED, path.stem, old)
        if old != data:
            write_whole(path, data)
        for mended in (into / REFUSED).glob(f"*-{entry.origin}.*"):
            mended.unlink()
    for refusal in outcome.plan.refused:
        write_refused(into / REFUSED, refusal, key)


def _keep(folder: Path, stem: str, data: bytes) -> None:
    """Keep an earlier version of a sheet; the last one kept is not kept twice."""
    folder.mkdir(exist_ok=True)
    kept = sorted(folder.glob(f"{stem}-*.csv"))
    if not kept or kept[-1].read_bytes() != data:
        write_whole(folder / f"{stem}-{len(kept) + 1:04d}.csv", data)
