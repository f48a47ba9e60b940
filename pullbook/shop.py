"""Commands of a shop: look over sheets, and contribute them without giving itself away."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook import options

if TYPE_CHECKING:
    from pipeline.sheet import Sheet


def check(paths: options.Sheets, as_json: options.AsJson = False) -> None:
    """Read sheets and print what was found; writes nothing."""
    from pipeline import checks, parse, read  # noqa: PLC0415

    sheets = [checks.judge(parse.typed(raw), checks.SHEET_RULES) for raw in read.sheets(paths)]
    if as_json:
        typer.echo(json.dumps({"sheets": [_told(sheet) for sheet in sheets]}, ensure_ascii=False))
    else:
        for sheet in sheets:
            typer.echo(_findings(sheet))
        typer.echo(_count(len(sheets), sum(not sheet.accepted for sheet in sheets)))
    raise typer.Exit(code=int(not all(sheet.accepted for sheet in sheets)))


def contribute(
    paths: options.Sheets,
    into: Annotated[Path, typer.Option("--into", help="Where to write accepted and refused.")],
    key_file: options.KeyFile = None,
) -> None:
    """Check sheets, replace the shop's name by a code, and write them to be shared."""
    from pipeline import anonymise  # noqa: PLC0415
    from pipeline import contribute as contributing  # noqa: PLC0415

    path = key_file or anonymise.default_key_file()
    new = not path.exists()
    key = anonymise.make_key(path)
    outcome = contributing.contribute(paths, into, key)
    if new:
        typer.echo(
            f"A key was made in {path}. Keep it: with it you can ask as your shop.", err=True
        )
    for sheet in outcome.refused:
        typer.echo(_findings(sheet), err=True)
    total = len(outcome.accepted) + len(outcome.refused)
    typer.echo(_count(total, len(outcome.refused)))
    typer.echo(f"Accepted sheets are in {into / contributing.ACCEPTED}")
    if outcome.refused:
        typer.echo(f"Refused ones, with what was found, are in {into / contributing.REFUSED}")
    raise typer.Exit(code=int(bool(outcome.refused)))


def _told(sheet: Sheet) -> dict[str, object]:
    return {
        "sheet_id": sheet.sheet_id,
        "source": sheet.source,
        "accepted": sheet.accepted,
        "findings": [finding.as_json() for finding in sheet.findings],
    }


def _findings(sheet: Sheet) -> str:
    """Return a sheet's findings as lines; findings of one kind are told once, with a count."""
    verdict = "accepted" if sheet.accepted else "REFUSED"
    lines = [f"{sheet.sheet_id}  {verdict}  ({sheet.source})"]
    kinds = Counter((f.code, f.field) for f in sheet.findings)
    for finding in sheet.findings:
        count = kinds.pop((finding.code, finding.field), 0)
        if count:
            more = f" (and {count - 1} more like it)" if count > 1 else ""
            row = f"row {finding.row}: " if finding.row and "row" not in finding.message else ""
            lines.append(f"  {finding.severity.value:6} {row}{finding.message}{more}")
    return "\n".join(lines)


def _count(total: int, refused: int) -> str:
    sheets = "sheet" if total == 1 else "sheets"
    return f"{total} {sheets}: {total - refused} accepted, {refused} refused"


COMMANDS = (check, contribute)
