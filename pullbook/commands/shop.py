"""Commands of a shop: look over sheets, and contribute them without giving itself away."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook.commands import options

if TYPE_CHECKING:
    from pullbook.pipeline.checks.checked_sheets import CheckedSheets
    from pullbook.pipeline.privacy.contribute import Outcome, Plan
    from pullbook.pipeline.values.headings import Headings
    from pullbook.pipeline.values.sheet import Sheet

_TOLD = 20


def check(
    paths: options.Sheets, as_json: options.AsJson = False, headings: options.OwnHeadings = None
) -> None:
    """Read sheets and print what was found; writes nothing."""
    read = _read(paths, headings)
    if as_json:
        typer.echo(json.dumps({"sheets": [_told(sheet) for sheet in read.sheets]}))
    else:
        for sheet in read.sheets:
            typer.echo(_findings(sheet))
        typer.echo(_count(read.sheets))
    _passed_over(read.passed_over)
    raise typer.Exit(code=int(not all(sheet.accepted for sheet in read.sheets)))


def _read(paths: list[Path], headings: Path | None) -> CheckedSheets:
    from pullbook.pipeline.checks import check_sheet, checked_sheets

    return checked_sheets.read(paths, check_sheet.SHEET_RULES, _meant(headings))


def _meant(path: Path | None) -> Headings:
    from pullbook.pipeline.reading import shop_headings
    from pullbook.pipeline.values.headings import PLAIN

    return PLAIN if path is None else shop_headings.load(path)


def headings(
    paths: options.Sheets,
    save: Annotated[Path, typer.Option("--save", help="The file to write or to add to.")],
) -> None:
    """Write headings that are not known to a file, to be told once what they mean."""
    from pullbook.pipeline.reading import shop_headings

    sheets = _read(paths, save if save.exists() else None).sheets
    unknown = shop_headings.unknown(f for sheet in sheets for f in sheet.findings)
    new = shop_headings.save(save, unknown)
    typer.echo(f"{len(unknown)} headings are not known; {new} were added to {save}")
    if unknown:
        typer.echo(f"Say there what they mean, then: pullbook check ... --headings {save}")


def contribute(
    paths: options.Sheets,
    into: Annotated[
        Path | None, typer.Option("--into", help="Where to write accepted and refused.")
    ] = None,
    key_file: options.KeyFile = None,
    headings: options.OwnHeadings = None,
    preview: Annotated[
        bool, typer.Option("--preview", help="Show all that would leave the house; write nothing.")
    ] = False,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against", help="With --preview: a curated data set to tell how rare it is."
        ),
    ] = None,
) -> None:
    """Check sheets, replace the shop's name by a code, and write them to be shared."""
    from pullbook.pipeline.privacy import anonymise
    from pullbook.pipeline.privacy import contribute as contributing

    if (into is None) != preview:
        msg = "say where to write (--into DIR), or look first (--preview); not both"
        raise typer.BadParameter(msg)
    path = key_file or anonymise.default_key_file()
    new = not path.exists()
    if into is None:
        key = b"a key for a look" if new else anonymise.read_key(path)
        plan = contributing.plan(paths, key, _meant(headings))
        _preview(plan, against, new_key=new)
        raise typer.Exit(code=int(bool(plan.refused)))
    key = anonymise.make_key(path)
    outcome = contributing.contribute(paths, into, key, _meant(headings))
    if new:
        typer.echo(
            f"A key was made in {path}. Keep it: with it you can ask as your shop.", err=True
        )
    _report(outcome, into)
    raise typer.Exit(code=int(bool(outcome.plan.refused)))


def _report(outcome: Outcome, into: Path) -> None:
    from pullbook.pipeline.privacy import refused_sheets

    plan = outcome.plan
    for refusal in plan.refused:
        typer.echo(_findings(refusal.sheet), err=True)
    typer.echo(_count([entry.sheet for entry in plan.accepted] + [r.sheet for r in plan.refused]))
    typer.echo(
        f"Of the accepted: {outcome.new} new, {outcome.superseding} in place of an earlier"
        f" version, {outcome.unchanged} already there"
    )
    withheld = [
        f"{entry.sheet.sheet_id}: {finding.message}"
        for entry in plan.accepted
        for finding in entry.sheet.findings
        if finding.code in ("name-withheld", "text-withheld", "name-hint")
    ]
    _first(withheld)
    typer.echo(f"Accepted sheets are in {into / refused_sheets.ACCEPTED}")
    if plan.refused:
        typer.echo(
            f"Refused ones, with what was found, are in {into / refused_sheets.REFUSED}; they are"
            " yours to mend, not to share"
        )
    _passed_over(plan.passed_over)


def _first(lines: list[str]) -> None:
    for line in lines[:_TOLD]:
        typer.echo(f"  {printable(line)}", err=True)
    if len(lines) > _TOLD:
        typer.echo(f"  and {len(lines) - _TOLD} more like these", err=True)


def _preview(plan: Plan, against: Path | None, *, new_key: bool) -> None:
    builds = None
    if against is not None:
        from pullbook.pipeline.curation import (
            data_set,
        )

        builds, _ = data_set.load(against)
    for entry in plan.accepted:
        typer.echo(f"=== {entry.name}: all that leaves of {entry.sheet.source}")
        typer.echo(entry.text.rstrip())
        for finding in entry.sheet.findings:
            if finding.code in ("name-withheld", "text-withheld", "name-hint"):
                typer.echo(f"  {finding.severity.value:6} {printable(finding.message)}")
        if builds is not None:
            from pullbook.pipeline.privacy.rare_builds import rarity

            found = rarity(entry.sheet.values, builds)
            typer.echo(
                f"  rarity other shops with this engine: {found.engine}; with a build like it:"
                f" {found.build}" + (_RARE if found.engine < _FEW else "")
            )
        typer.echo()
    for refusal in plan.refused:
        typer.echo(_findings(refusal.sheet), err=True)
    typer.echo(_count([entry.sheet for entry in plan.accepted] + [r.sheet for r in plan.refused]))
    typer.echo(
        "What stays: the shop's name, notes, elevation, the day of a date, names of files, and"
        " fields and columns that are not in the dictionary."
    )
    if new_key:
        typer.echo("There is no key yet: the codes shown will be others.", err=True)
    _passed_over(plan.passed_over)


_FEW = 2
_RARE = " - whoever knows who builds such an engine may know whose sheet it is"


def unseal(
    shared: Annotated[Path, typer.Argument(help="A folder that `pullbook contribute` wrote.")],
    into: Annotated[Path, typer.Option("--into", help="Where to write the originals.")],
    key_file: options.KeyFile = None,
) -> None:
    """Write the originals of refused sheets back, byte for byte, with the contributor's key."""
    from pullbook.pipeline.privacy import anonymise, refused_sheets

    key = anonymise.read_key(key_file or anonymise.default_key_file())
    written = refused_sheets.unseal(shared, into, key)
    for path in written:
        typer.echo(str(path))


def _told(sheet: Sheet) -> dict[str, object]:
    return {
        "sheet_id": sheet.sheet_id,
        "source": sheet.source,
        "accepted": sheet.accepted,
        "findings": [finding.as_json() for finding in sheet.findings],
    }


def printable(text: str) -> str:
    """Return a text from a sheet without what could move a terminal's cursor."""
    return "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text
    )


def _findings(sheet: Sheet) -> str:
    """Return a sheet's findings as lines; findings of one kind are told once, with a count."""
    verdict = "accepted" if sheet.accepted else "REFUSED"
    lines = [f"{printable(sheet.sheet_id)}  {verdict}  ({printable(sheet.source)})"]
    kinds = Counter((f.code, f.field) for f in sheet.findings)
    for finding in sheet.findings:
        count = kinds.pop((finding.code, finding.field), 0)
        if count:
            more = f" (and {count - 1} more like it)" if count > 1 else ""
            row = f"row {finding.row}: " if finding.row and "row" not in finding.message else ""
            lines.append(f"  {finding.severity.value:6} {row}{printable(finding.message)}{more}")
    return "\n".join(lines)


def _count(sheets: list[Sheet]) -> str:
    warned = sum(s.accepted and any(f.severity == "warn" for f in s.findings) for s in sheets)
    refused = sum(not sheet.accepted for sheet in sheets)
    noun = "sheet" if len(sheets) == 1 else "sheets"
    with_warnings = f" ({warned} with warnings)" if warned else ""
    return (
        f"{len(sheets)} {noun}: {len(sheets) - refused} accepted{with_warnings}, {refused} refused"
    )


def _passed_over(paths: list[Path]) -> None:
    if paths:
        names = ", ".join(printable(path.name) for path in paths[:5])
        more = f" and {len(paths) - 5} more" if len(paths) > 5 else ""
        typer.echo(
            f"Passed over, for their names are no sheet's: {names}{more} (sheets end in .csv or"
            " .xlsx, or open with --- in a .tsv or .txt)",
            err=True,
        )
