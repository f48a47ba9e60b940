"""Contributing: check, anonymise, and put every sheet where it belongs.

Accepted sheets are written anew in plain units under the shop's code; a corrected one takes the
place of the old, which is kept beside. Refused ones are written with their findings, as they were
but for the shop's name and the free text, so that they can be mended and sent again; their
originals are kept sealed. What the contributor has is only read.

Whatever is written is written whole or not at all, under a lock: killed at any moment and run
again, a contribution ends in the same state.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import anonymise, checks, layout, parse, read, telling, together
from pipeline.headings import PLAIN
from schemas.fields import FIELDS, WITHHELD
from schemas.findings import CODES

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.headings import Headings
    from pipeline.sheet import RawSheet, Reading, Sheet
    from schemas.fields import Value
    from schemas.findings import Finding

ACCEPTED, REFUSED, SUPERSEDED, ORIGINALS = "accepted", "refused", "superseded", "originals"
_NAME_CHARS = 12
_DIGITS = 10
_PATIENCE = 600.0
_PART = ".part"
#: How the names of the files end that hold what was found in a refused sheet.
FINDINGS_FILE = ".findings.json"
#: Findings that quote what is not in the dictionary, or the name of a file.
_QUOTES_WHAT_IT_FOUND = frozenset(
    {"unknown-field", "unknown-column", "text-left-out", "not-readable", "too-large", "encoding",
     "no-front-matter", "front-matter-unreadable", "repeated-field", "two-corrections",
     "more-cells-than-headings", "read-as", "pull-without-build", "open-quote", "not-a-date"}
)  # fmt: skip
_NUMBER = re.compile(r"[+-]?[\d.,]+(?:[eE][+-]?\d+)?")


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
class Refusal:
    """A sheet that is refused: as read, as judged, and the keyed code of where it was read from."""

    raw: RawSheet
    sheet: Sheet
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
    found = read.find(paths, into)
    raws = [raw for source in found.sources for raw in read.source(source, headings)]
    sheets = [checks.judge(parse.typed(raw), checks.CONTRIBUTION_RULES) for raw in raws]
    together.judge(sheets)
    made = Plan(passed_over=found.passed_over)
    home = (into or Path()).resolve()
    met: Counter[str] = Counter()
    for raw, sheet in zip(raws, sheets, strict=True):
        where = _where(raw, home)
        origin = anonymise.code(key, f"{where}\n{met[where]}")
        met[where] += 1
        if sheet.accepted:
            anonymise.anonymise(sheet, key)
            text = sheet_text(sheet.values, sheet.readings)
            made.accepted.append(Entry(sheet, _name(key, sheet), text, origin[:_NAME_CHARS]))
        else:
            made.refused.append(Refusal(raw, sheet, origin[:_NAME_CHARS]))
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
            for part in into.rglob(f".*{_PART}"):
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
            _write(path, data)
        for mended in (into / REFUSED).glob(f"*-{entry.origin}.*"):
            mended.unlink()
    for refusal in outcome.plan.refused:
        _write_refused(into / REFUSED, refusal, key)


def _keep(folder: Path, stem: str, data: bytes) -> None:
    """Keep an earlier version of a sheet; the last one kept is not kept twice."""
    folder.mkdir(exist_ok=True)
    kept = sorted(folder.glob(f"{stem}-*.csv"))
    if not kept or kept[-1].read_bytes() != data:
        _write(folder / f"{stem}-{len(kept) + 1:04d}.csv", data)


def _name(key: bytes, sheet: Sheet) -> str:
    """Return a file name that says nothing and is the same for the same sheet."""
    shop = str(sheet.values["shop"])
    return f"{shop[:_NAME_CHARS]}-{anonymise.code(key, sheet.sheet_id)[:_NAME_CHARS]}.csv"


def _write(path: Path, data: bytes) -> None:
    """Write a whole file or none."""
    part = path.with_name(f".{path.name}{_PART}")
    part.write_bytes(data)
    part.replace(path)


def _plain(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.{_DIGITS}g}"
    return str(value)


def _scalar(value: str) -> str:
    """Write a text as a YAML scalar; a JSON string is one."""
    return json.dumps(value, ensure_ascii=False)


def sheet_text(values: dict[str, Value], readings: list[Reading]) -> str:
    """Return the text of a sheet file in the units of the field dictionary."""
    known = [(name, values.get(name)) for name in FIELDS]
    lines = [
        f"{name}: {_scalar(value) if isinstance(value, str) else _plain(value)}"
        for name, value in known
        if value is not None
    ]
    rows = [["rpm", "torque", "power", "pull"]] + [
        [
            _plain(r.rpm),
            "" if r.torque is None else _plain(r.torque),
            "" if r.power is None else _plain(r.power),
            str(r.pull),
        ]
        for r in readings
    ]
    return _assemble(lines, rows)


def _assemble(lines: list[str], rows: list[list[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return "\n".join(["---", *lines, "---", out.getvalue()])


def _write_refused(folder: Path, refusal: Refusal, key: bytes) -> None:
    raw, sheet = refusal.raw, refusal.sheet
    named = raw.fields.get("shop")
    shop = named.text.strip() if named is not None else ""
    instead = anonymise.code(key, shop) if shop else ""
    stem = f"{instead[:_NAME_CHARS] or 'no-shop'}-{refusal.origin}"
    name, _ = anonymise.private_name(
        key, "sheet_id", sheet.sheet_id, shop, of_file="sheet_id" not in raw.fields
    )
    told = {
        "sheet_id": name,
        "findings": [_private_finding(f, shop, instead) for f in sheet.findings],
        "originals": _keep_originals(folder / ORIGINALS, raw, key),
    }
    copy = _assemble(_private_fields(raw, key, shop, instead), _private_rows(raw, shop, instead))
    _write(folder / f"{stem}.csv", copy.encode("utf-8", "replace"))
    _write(folder / f"{stem}{FINDINGS_FILE}", json.dumps(told, indent=2).encode())


def _private_fields(raw: RawSheet, key: bytes, shop: str, instead: str) -> list[str]:
    """Return the fields of a refused sheet as they may be written: none that an accepted drops."""
    lines = []
    for name, cell in raw.fields.items():
        text = telling.withhold(shop, cell.text, instead) if shop else cell.text
        if name in WITHHELD:
            continue
        if name == "shop":
            text = instead
        elif name in ("sheet_id", "family"):
            text, _ = anonymise.private_name(key, name, cell.text, shop, of_file=False)
        elif name == "tested_on":
            text = cell.text.strip()[:4]
        lines.append(f"{name}{f' ({cell.unit})' if cell.unit else ''}: {_scalar(text)}")
    return lines


def _private_rows(raw: RawSheet, shop: str, instead: str) -> list[list[str]]:
    """Return the readings of a refused sheet under headings of ours; nothing else of its table."""
    rows: list[list[str]] = []
    for block in layout.blocks(raw.table or [], raw.headings)[0]:
        columns = [
            (f"{name} ({unit})" if unit else name, place)
            for name, (place, unit) in block.columns.items()
        ]
        rows.append([heading for heading, _ in columns])
        for _, cells in block.rows:
            texts = [cells[place] if place < len(cells) else "" for _, place in columns]
            private = [telling.withhold(shop, text, instead) if shop else text for text in texts]
            rows.append([_harmless(text) for text in private])
    return rows


def _private_finding(finding: Finding, shop: str, instead: str) -> dict[str, str | int | None]:
    """Return a finding as it may be written: without what was left out, or any file's name."""
    told = finding.as_json()
    if finding.code in _QUOTES_WHAT_IT_FOUND:
        return {**told, "value": None, "field": None, "message": CODES[finding.code].meaning}
    return {
        name: telling.withhold(shop, text, instead)
        if shop and isinstance(text, str) and name in ("value", "message")
        else text
        for name, text in told.items()
    }


def _harmless(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    formula = cell[:1] in ("=", "+", "-", "@", "\t") and not _NUMBER.fullmatch(cell)
    return f"'{cell}" if formula else cell


def _keep_originals(folder: Path, raw: RawSheet, key: bytes) -> list[str]:
    """Keep the files a sheet was read from, sealed; return under which names."""
    from pipeline import seal  # noqa: PLC0415 - a cipher is only loaded when a sheet is refused

    names = []
    for file in raw.files:
        if not file.is_file():
            continue
        data = file.read_bytes()
        name = f"{anonymise.code(key, f'{file.name}{data.hex()}')}{seal.SUFFIX}"
        names.append(name)
        if not (folder / name).exists():
            folder.mkdir(exist_ok=True)
            _write(folder / name, seal.seal(key, file.name, data))
    return names


def refusals(folder: Path) -> list[tuple[str, str, list[dict[str, Any]]]]:
    """Return the sheets that a contribution refused: name, file and findings of each.

    What cannot be read there is passed over: it is the contributor's own record.
    """
    found = []
    for path in sorted((folder / REFUSED).glob(f"*{FINDINGS_FILE}")):
        try:
            told = json.loads(path.read_text(encoding="utf-8"))
            found.append((str(told["sheet_id"]), str(path), list(told["findings"])))
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return found


def unseal(shared: Path, into: Path, key: bytes) -> list[Path]:
    """Write the sealed originals below a folder back as they were.

    Parameters
    ----------
    shared
        A contribution.
    into
        Where to write; each original into a folder of its own, for many may share a name.
    key
        The contributor's key.

    Raises
    ------
    NothingToReadError
        Nothing is sealed there.
    SealError
        The key is another's.

    """
    from pipeline import seal  # noqa: PLC0415

    sealed = sorted(shared.rglob(f"*{seal.SUFFIX}"))
    if not sealed:
        msg = f"{shared} holds no sealed originals"
        raise read.NothingToReadError(msg)
    written = []
    for path in sealed:
        name, data = seal.unseal(key, path.read_bytes())
        folder = into / path.stem[:_NAME_CHARS]
        folder.mkdir(parents=True, exist_ok=True)
        _write(folder / name, data)
        written.append(folder / name)
    return written
