"""Contributing: check, anonymise, and put every sheet where it belongs.

Accepted sheets are written anew in plain units under the shop's code. Refused ones are written
with their findings, as they were but for the shop's name and the free text, so that they can be
mended and sent again. The originals are only read.
"""

from __future__ import annotations

import csv
import io
import json
import os
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pipeline import anonymise, checks, parse, read
from schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from pipeline.sheet import RawSheet, Reading, Sheet
    from schemas.fields import Value

ACCEPTED, REFUSED = "accepted", "refused"
_NAME_CHARS = 12
_DIGITS = 10


@dataclass(slots=True)
class Outcome:
    """What became of a contribution: every sheet is in exactly one of the lists."""

    accepted: list[Sheet] = field(default_factory=list)
    refused: list[Sheet] = field(default_factory=list)


def contribute(paths: Iterable[Path], into: Path, key: bytes) -> Outcome:
    """Check and anonymise sheets and write them below a folder.

    Parameters
    ----------
    paths
        Where the sheets lie.
    into
        The folder; ``accepted`` and ``refused`` are made in it.
    key
        The contributor's key.

    Raises
    ------
    NothingToReadError
        A path holds no sheets; nothing is written then.

    """
    raws = list(read.sheets(paths))
    outcome = Outcome()
    for folder in (ACCEPTED, REFUSED):
        (into / folder).mkdir(parents=True, exist_ok=True)
    for raw in raws:
        sheet = checks.judge(parse.typed(raw), checks.CONTRIBUTION_RULES)
        if sheet.accepted:
            anonymise.anonymise(sheet, key)
            _write(into / ACCEPTED / _name(key, sheet), sheet_text(sheet.values, sheet.readings))
            outcome.accepted.append(sheet)
        else:
            _write_refused(into / REFUSED, raw, sheet, key)
            outcome.refused.append(sheet)
    return outcome


def _name(key: bytes, sheet: Sheet) -> str:
    """Return a file name that says nothing and is the same for the same sheet."""
    shop = str(sheet.values["shop"])
    return f"{shop[:_NAME_CHARS]}-{anonymise.code(key, sheet.sheet_id)[:_NAME_CHARS]}.csv"


def _write(path: Path, text: str) -> None:
    """Write a whole file or none."""
    part = path.with_name(f".{path.name}.{os.getpid()}")
    part.write_text(text, encoding="utf-8")
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


def _write_refused(folder: Path, raw: RawSheet, sheet: Sheet, key: bytes) -> None:
    named = raw.fields.get("shop")
    shop = named.text.strip() if named is not None and named.text.strip() else None
    instead = anonymise.code(key, shop) if shop is not None else ""
    stem = f"{instead[:_NAME_CHARS] or 'no-shop'}-{_refused_code(key, raw)}"

    def private(text: str) -> str:
        return anonymise.withhold(shop, text, instead)

    lines = [
        f"{name}{f' ({cell.unit})' if cell.unit else ''}: {_scalar(private(cell.text))}"
        for name, cell in raw.fields.items()
        if name != "notes"
    ]
    table = [] if raw.table is None else [raw.table.headings, *(c for _, c in raw.table.rows)]
    _write(folder / f"{stem}.csv", _assemble(lines, [[private(c) for c in row] for row in table]))
    findings = [finding.as_json() for finding in sheet.findings]
    told = {"sheet_id": sheet.sheet_id, "findings": findings}
    _write(
        folder / f"{stem}.findings.json", private(json.dumps(told, indent=2, ensure_ascii=False))
    )


def _refused_code(key: bytes, raw: RawSheet) -> str:
    row = raw.fields["sheet_id"].row if "sheet_id" in raw.fields else 0
    return anonymise.code(key, f"{raw.source} {raw.sheet_id} {row}")[:_NAME_CHARS]
