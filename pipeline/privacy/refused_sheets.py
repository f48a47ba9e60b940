"""Write refused sheets: a private copy, the findings, and the encrypted originals."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.files import text_file
from pullbook.pipeline.layout import table_layout
from pullbook.pipeline.privacy import anonymise, identity_leaks
from pullbook.pipeline.privacy.contributed_sheet import assemble, yaml_scalar
from pullbook.pipeline.reading import find_sheets
from pullbook.pipeline.storage import csv_text, plain_text, regular_files, whole_writes
from pullbook.schemas.errors import must_exist
from pullbook.schemas.finding_codes import CODES

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import RawSheet, Sheet
    from pullbook.schemas.findings import Finding


ACCEPTED, REFUSED, SUPERSEDED, ORIGINALS = "accepted", "refused", "superseded", "originals"


NAME_CHARS = 12


#: Ending of the files with the findings of refused sheets.
FINDINGS_FILE = ".findings.json"


#: Findings whose message quotes unknown text or the name of a file; it is not written.
_QUOTES_WHAT_IT_FOUND = frozenset(
    {"unknown-field", "unknown-column", "text-left-out", "not-readable", "too-large", "encoding",
     "no-front-matter", "front-matter-unreadable", "repeated-field", "two-corrections",
     "more-cells-than-headings", "read-as", "pull-without-build", "open-quote", "not-a-date"}
)  # fmt: skip


#: Fields that the private copy of a refused sheet does not have.
_LEFT_OUT = ("shop", "notes", "elevation")


@dataclass(slots=True)
class Refusal:
    """A refused sheet: as read, as checked, and the keyed code of the file it was read from."""

    raw: RawSheet
    sheet: Sheet
    origin: str


def file_name(key: bytes, shop: str, sheet: Sheet) -> str:
    """Return a file name made of codes, the same for the same shop and sheet."""
    own = anonymise.own_code(key, shop, sheet.sheet_id)
    return f"{anonymise.code(key, shop)[:NAME_CHARS]}-{own[:NAME_CHARS]}.csv"


#: The note in the folder of refused sheets.
NOTE, _NOTE_TEXT = (
    "STAYS-AT-HOME.txt",
    """\
What is in this folder stays at home. These sheets were rejected: each has a private copy to
mend, what was found in it, and its original, encrypted under your key (pullbook unseal).
Send the folder "accepted" alone.
""",
)


def write_note(folder: Path) -> None:
    """Write into the folder of refused sheets that it is not to be sent."""
    if not (folder / NOTE).exists():
        whole_writes.write(folder / NOTE, _NOTE_TEXT.encode())


def write_refused(folder: Path, refusal: Refusal, key: bytes) -> None:
    """Write a refused sheet, its findings and its encrypted original."""
    raw, sheet = refusal.raw, refusal.sheet
    named = raw.fields.get("shop")
    shop = named.text.strip() if named is not None else ""
    code = anonymise.code(key, shop) if shop else ""
    stem = f"{code[:NAME_CHARS] or 'no-shop'}-{refusal.origin}"
    name, _ = anonymise.private_name(
        key, "sheet_id", sheet.sheet_id, shop, of_file="sheet_id" not in raw.fields
    )
    record = {
        "sheet_id": name,
        "findings": [_private_finding(f, shop, code) for f in sheet.findings],
        "originals": _keep_originals(folder / ORIGINALS, raw, key),
    }
    copy = assemble(_private_fields(raw, key, shop, code), _private_rows(raw, shop, code))
    whole_writes.write(folder / f"{stem}.csv", copy.encode("utf-8", "replace"))
    whole_writes.write(folder / f"{stem}{FINDINGS_FILE}", json.dumps(record, indent=2).encode())


def _private_fields(raw: RawSheet, key: bytes, shop: str, code: str) -> list[str]:
    """Return the fields of a refused sheet without shop, notes and place.

    The weather stays, as the sheet does: it is needed once the sheet is mended.
    """
    lines = []
    for name, cell in raw.fields.items():
        text = identity_leaks.withhold(shop, cell.text, code) if shop else cell.text
        if name in _LEFT_OUT:
            continue
        if name == "engine":
            text = anonymise.engine_code(key, shop, cell.text)
        elif name in ("sheet_id", "family"):
            text, _ = anonymise.private_name(key, name, cell.text, shop, of_file=False)
        elif name == "tested_on":
            text = cell.text.strip()[:4]
        lines.append(f"{name}{f' ({cell.unit})' if cell.unit else ''}: {yaml_scalar(text)}")
    return lines


def _private_rows(raw: RawSheet, shop: str, code: str) -> list[list[str]]:
    """Return the readings of a refused sheet under our headings, and nothing else of its table."""
    rows: list[list[str]] = []
    for block in table_layout.blocks(raw.table or [], raw.headings)[0]:
        columns = [
            (" ".join(filter(None, (name, column.basis, column.unit))), column.place)
            for name, own in block.columns.items()
            for column in own
        ]
        rows.append([heading for heading, _ in columns])
        for _, cells in block.rows:
            texts = [cells[place] if place < len(cells) else "" for _, place in columns]
            private = [
                identity_leaks.withhold(shop, text, code) if shop else text for text in texts
            ]
            rows.append([_escape_formula(text) for text in private])
    return rows


def _private_finding(finding: Finding, shop: str, code: str) -> dict[str, str | int | None]:
    """Return a finding without quoted text, names of files and the shop's name."""
    entry = finding.as_json()
    if finding.code in _QUOTES_WHAT_IT_FOUND:
        return {**entry, "value": None, "field": None, "message": CODES[finding.code].meaning}
    return {
        name: identity_leaks.withhold(shop, text, code)
        if shop and isinstance(text, str) and name in ("value", "message")
        else text
        for name, text in entry.items()
    }


def _escape_formula(cell: str) -> str:
    """Return a cell that no spreadsheet reads as a formula."""
    return csv_text.quoted(plain_text.one_line(cell))


def _keep_originals(folder: Path, raw: RawSheet, key: bytes) -> list[str]:
    """Keep encrypted copies of the files a sheet was read from; return their names."""
    from pullbook.pipeline.privacy import sealed_originals  # noqa: PLC0415 - a cipher is only loaded when a sheet is refused

    names = []
    for file in raw.files:
        try:
            data = regular_files.read(file, text_file.TABLE_BYTES)
        except OSError:
            continue
        code = anonymise.own_code(key, "", f"{file.name}{data.hex()}")
        name = f"{code}{sealed_originals.SUFFIX}"
        names.append(name)
        if not (folder / name).exists():
            folder.mkdir(exist_ok=True)
            whole_writes.write(folder / name, sealed_originals.seal(key, file.name, data))
    return names


def refusals(folder: Path) -> list[tuple[str, str, list[dict[str, Any]]]]:
    """Return name, file and findings of each sheet that a contribution refused.

    Files that cannot be read are skipped: they are the contributor's own record.
    """
    found = []
    for path in sorted((folder / REFUSED).glob(f"*{FINDINGS_FILE}")):
        try:
            record = json.loads(regular_files.read(path, text_file.SHEET_BYTES))
            found.append((str(record["sheet_id"]), str(path), list(record["findings"])))
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            continue
    return found


def unseal(shared: Path, into: Path, key: bytes) -> list[Path]:
    """Decrypt the originals below a folder and write them as they were.

    Parameters
    ----------
    shared
        A contribution.
    into
        Folder to write to; each original gets a folder of its own, as names may repeat.
    key
        The contributor's key.

    Raises
    ------
    NothingToReadError
        There are no encrypted originals.
    SealError
        The key is not the one they were encrypted with.

    """
    from pullbook.pipeline.privacy import sealed_originals  # noqa: PLC0415

    must_exist(shared)
    sealed = sorted(shared.rglob(f"*{sealed_originals.SUFFIX}"))
    if not sealed:
        msg = f"{shared} has no sealed originals in it"
        raise find_sheets.NothingToReadError(msg)
    written = []
    for path in sealed:
        name, data = sealed_originals.unseal(
            key, regular_files.read(path, 2 * text_file.TABLE_BYTES)
        )
        folder = into / path.stem[:NAME_CHARS]
        folder.mkdir(parents=True, exist_ok=True)
        whole_writes.write(folder / Path(name).name, data)
        written.append(folder / Path(name).name)
    return written
