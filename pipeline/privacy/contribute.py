"""Contribute sheets: check them, anonymise them, and write them as accepted or refused.

Accepted sheets are written at the reference condition, in the units of the field dictionary, under
the shop's code and signed. A corrected sheet replaces the earlier one, which is kept in another
folder. Refused sheets are written with their findings, without the shop's name and free text, so
that they can be corrected and contributed again; their originals are kept encrypted. The
contributor's own files are only read.

Files are written completely or not at all, under a lock. A contribution that is killed and run
again ends in the same state.
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.privacy import anonymise, signatures
from pullbook.pipeline.privacy.contributed_sheet import (
    KIND,
    bring_to_reference,
    sheet_text,
    signed_text,
    values_to_share,
    without_signature,
)
from pullbook.pipeline.privacy.key_file import Counts
from pullbook.pipeline.privacy.refused_sheets import (
    ACCEPTED,
    NAME_CHARS,
    REFUSED,
    SUPERSEDED,
    Refusal,
    file_name,
    write_note,
    write_refused,
)
from pullbook.pipeline.storage import locks, whole_writes
from pullbook.pipeline.values.sheet import SIGNATURE_FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pullbook.pipeline.checks.checked_sheets import CheckedSheets, Track
    from pullbook.pipeline.privacy.signatures import Signer
    from pullbook.pipeline.settings.shop_settings import Settings
    from pullbook.pipeline.values.sheet import RawSheet, Sheet


@dataclass(slots=True)
class Entry:
    """An accepted sheet, and the file that is written for it.

    Attributes
    ----------
    sheet
        The anonymised sheet.
    name
        Name of the file; a code, the same for the same shop and sheet.
    text
        Text of the file: all that leaves the contributor, but for the signature.
    origin
        Keyed code of the file that the sheet was read from.
    shop
        The shop's name; it stays here.
    """

    sheet: Sheet
    name: str
    text: str
    origin: str
    shop: str


@dataclass(slots=True)
class Plan:
    """What a contribution will write: every sheet is either accepted or refused.

    Attributes
    ----------
    accepted, refused
        The sheets.
    passed_over
        Files that cannot be sheets by their name.
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
        The plan that was carried out.
    new, superseding, unchanged
        How many of the accepted sheets are new, replaced an earlier version, or were there before
        (or were given twice).
    """

    plan: Plan
    new: int = 0
    superseding: int = 0
    unchanged: int = 0


def plan(
    paths: Iterable[Path],
    key: bytes,
    settings: Settings | None = None,
    into: Path | None = None,
    track: Track = iter,
) -> Plan:
    """Read, check and anonymise sheets and bring them to one condition; nothing is written.

    Parameters
    ----------
    paths
        Files and folders with the sheets.
    key
        The contributor's key.
    settings
        The shop's settings; ``None`` takes those beside the sheets.
    into
        Folder of the contribution; sheets in it are not read.
    track
        Wraps the loop over files that are read, then that over sheets, to show progress.

    Raises
    ------
    NothingToReadError
        A path has no sheets.

    """
    rules = check_sheet.CONTRIBUTION_RULES
    return plan_of(checked_sheets.read(paths, rules, settings, into, track), key, into, track)


def plan_of(read: CheckedSheets, key: bytes, into: Path | None = None, track: Track = iter) -> Plan:
    """Anonymise checked sheets and bring them to one condition; see `plan`."""
    made = Plan(passed_over=read.passed_over)
    home = (into or Path()).resolve()
    counts: Counter[str] = Counter()
    for raw, sheet in track(list(zip(read.raws, read.sheets, strict=True))):
        place = _describe_place(raw, home)
        origin = anonymise.own_code(key, "", f"{place}\n{counts[place]}")
        counts[place] += 1
        if sheet.accepted:
            shop = str(sheet.values["shop"])
            bring_to_reference(sheet)
            anonymise.anonymise(sheet, key, raw.private_words)
            text = sheet_text(values_to_share(sheet), sheet.readings)
            name = file_name(key, shop, sheet)
            made.accepted.append(Entry(sheet, name, text, origin[:NAME_CHARS], shop))
        else:
            made.refused.append(Refusal(raw, sheet, origin[:NAME_CHARS]))
    return made


def _describe_place(raw: RawSheet, home: Path) -> str:
    """Return the files a sheet was read from, relative to a folder, and its name if not alone.

    Relative to the contribution, so that both can be moved together without a change.
    """
    alone = len(raw.files) == 1 and raw.files[0].suffix.casefold() != ".xlsx"
    files = [_relative_path(home, Path(os.path.realpath(file))) for file in raw.files]
    return f"{files}\n{'' if alone else raw.sheet_id}"


def _relative_path(home: Path, file: Path) -> str:
    try:
        return Path(os.path.relpath(file, home)).as_posix()
    except ValueError:  # on another drive
        return file.as_posix()


def contribute(
    paths: Iterable[Path],
    into: Path,
    key: bytes,
    settings: Settings | None = None,
    counts: Counts | None = None,
    track: Track = iter,
) -> Outcome:
    """Check, anonymise and sign sheets and write them to a folder; see `plan`.

    Parameters
    ----------
    paths, key, settings, track
        As for `plan`.
    into
        The folder; ``accepted``, ``refused`` and ``superseded`` are made in it.
    counts
        The counts of what the key's shops have signed; they go on from the highest in the folder
        at least.

    Raises
    ------
    NothingToReadError
        A path has no sheets; then nothing is written.
    TimeoutError
        Another contribution is writing to the folder and does not finish.

    """
    return carry_out(plan(paths, key, settings, into, track), into, key, counts)


def carry_out(made: Plan, into: Path, key: bytes, counts: Counts | None = None) -> Outcome:
    """Sign and write what a plan holds; see `contribute`."""
    outcome = Outcome(made)
    for folder in (ACCEPTED, REFUSED):
        (into / folder).mkdir(parents=True, exist_ok=True)
    with locks.inside(into):
        for part in into.rglob(f".*{whole_writes.PART}"):
            part.unlink()  # left by a run that was killed
        _write_all(outcome, into, key, counts)
    return outcome


def _write_all(outcome: Outcome, into: Path, key: bytes, counts: Counts | None) -> None:
    changed: dict[str, list[tuple[Entry, bytes | None]]] = {}
    for entry in outcome.plan.accepted:
        changed.setdefault(entry.shop, [])
        path = into / ACCEPTED / entry.name
        old = path.read_bytes() if path.is_file() else None
        if old is not None and without_signature(old.decode("utf-8", "replace")) == entry.text:
            outcome.unchanged += 1
        else:
            changed[entry.shop].append((entry, old))
    for shop, entries in changed.items():
        _sign_and_write(outcome, into, signatures.signer(key, shop), shop, entries, counts)
    for entry in outcome.plan.accepted:
        for corrected in (into / REFUSED).glob(f"*-{entry.origin}.*"):
            corrected.unlink()
    for refusal in outcome.plan.refused:
        write_note(into / REFUSED)
        write_refused(into / REFUSED, refusal, key)


def _sign_and_write(
    outcome: Outcome,
    into: Path,
    signer: Signer,
    shop: str,
    entries: list[tuple[Entry, bytes | None]],
    counts: Counts | None,
) -> None:
    latest = {entry.name: (entry, old) for entry, old in entries}
    outcome.unchanged += len(entries) - len(latest)  # given twice
    highest = _highest(into, signer.code)
    taken = (counts or Counts()).take(signer.code, shop, len(latest), highest)
    for count, (entry, old) in zip(taken, latest.values(), strict=True):
        path = into / ACCEPTED / entry.name
        if old is None:
            outcome.new += 1
        else:
            outcome.superseding += 1
            _keep_version(into / SUPERSEDED, path.stem, old)
        signature = signer.sign(KIND, count, entry.text)
        whole_writes.write(path, signed_text(entry.text, signature).encode())


def _highest(into: Path, code: str) -> int:
    """Return the highest count of a shop in a contribution; 0 if it has none."""
    highest = 0
    for path in (into / ACCEPTED).glob(f"{code[:NAME_CHARS]}-*.csv"):
        with path.open(encoding="utf-8", errors="replace") as file:
            for _, line in zip(range(len(SIGNATURE_FIELDS) + 1), file, strict=False):
                name, _, value = line.partition(":")
                if name == SIGNATURE_FIELDS[1] and value.strip().isdigit():
                    highest = max(highest, int(value))
    return highest


def _keep_version(folder: Path, stem: str, data: bytes) -> None:
    """Keep an earlier version of a sheet, unless it equals the last one kept."""
    folder.mkdir(exist_ok=True)
    kept = sorted(folder.glob(f"{stem}-*.csv"))
    if not kept or kept[-1].read_bytes() != data:
        whole_writes.write(folder / f"{stem}-{len(kept) + 1:04d}.csv", data)
