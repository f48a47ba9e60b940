"""Commands of a shop: check sheets, and contribute them without its name."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook.arguments import inputs, messages, options
from pullbook.commands import output
from pullbook.pipeline.storage import whole_writes
from pullbook.schemas.errors import InputError, must_exist
from pullbook.tasks import own_key, packs
from pullbook.text import check_text
from pullbook.words.figures import counted

if TYPE_CHECKING:
    from pullbook.pipeline.checks.checked_sheets import CheckedSheets
    from pullbook.pipeline.privacy.contribute import Outcome, Plan
    from pullbook.pipeline.values.sheet import Sheet

_MOST_NAMES = 20


def check(
    paths: options.Sheets,
    as_json: options.AsJson = False,
    settings_file: options.ShopSettings = None,
    every: Annotated[
        bool, typer.Option("--all", help="List every finding of every sheet.")
    ] = False,
    html: Annotated[
        Path | None, typer.Option("--html", help="Write the check as a page with a filter.")
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option("--plot", help="Draw all pulls over one another (.svg, .png, .pdf)."),
    ] = None,
) -> None:
    """Check dyno sheets: a summary, what to decide and to fix first, and the findings."""
    wanted = output.Wanted(as_json, plot, html)
    read = _read(paths, settings_file)
    if as_json:
        typer.echo(json.dumps({"sheets": [_as_json(sheet) for sheet in read.sheets]}))
    else:
        typer.echo(check_text.text(read.sheets, every=every))
    _pages(read, wanted)
    _passed_over(read.passed_over)
    raise typer.Exit(code=int(not all(sheet.accepted for sheet in read.sheets)))


def _pages(read: CheckedSheets, wanted: output.Wanted) -> None:
    if wanted.html is not None:
        from pullbook.pipeline.storage import whole_writes
        from pullbook.reports import check_page

        whole_writes.write_text(wanted.html, check_page.html(read.sheets))
        messages.say(f"Page: {wanted.html}")
    if wanted.plot is not None:
        from pullbook.charts import pulls_chart
        from pullbook.pipeline.checks import standing_out

        pulls_chart.draw(standing_out.lay_over(read.sheets), wanted.plot)
        messages.say(f"Chart: {wanted.plot}")


def _read(paths: list[Path], settings_file: Path | None) -> CheckedSheets:
    from pullbook.pipeline.checks import check_sheet, checked_sheets

    return checked_sheets.read(paths, check_sheet.SHEET_RULES, inputs.shop_settings(settings_file))


def settings(
    folder: Annotated[Path, typer.Argument(help="Folder of your sheets.")],
    new: Annotated[
        bool, typer.Option("--new", help="Write the file, drafted from what is in the folder.")
    ] = False,
    headings: Annotated[
        Path | None,
        typer.Option("--headings", help="With --new: an older file of headings to take over."),
    ] = None,
    add: Annotated[
        list[str] | None,
        typer.Option("--add", metavar="LINE", help="Add a line to the file; may be repeated."),
    ] = None,
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the file's JSON Schema, for an editor.")
    ] = False,
) -> None:
    """Write, extend or check your settings file, and list what is to decide."""
    from pullbook.pipeline.checks import settings_draft
    from pullbook.pipeline.settings import settings_schema, shop_settings

    if schema:
        typer.echo(json.dumps(settings_schema.schema(), indent=2))
        raise typer.Exit
    must_exist(folder)
    path = folder / shop_settings.FILE
    if add:
        from pullbook.pipeline.settings import add_setting

        add_setting.add(path, add)
        typer.echo(f"Added to {path}: {'; '.join(add)}")
    if not new:
        _what_is_open(folder, path)
        return
    if path.exists():
        msg = f"{path} is there already; it is not written over"
        raise InputError(msg)
    old = {} if headings is None else shop_settings.load(headings).meanings
    read = _read([folder], None)
    whole_writes.write_text(path, settings_draft.draft(read.raws, read.sheets, old))
    typer.echo(
        f"Drafted {path} from {counted(len(read.sheets), 'sheet')}. Read it, remove the # in front"
        f" of what fits, then: {shlex.join(['pullbook', 'check', str(folder)])}"
    )


def _what_is_open(folder: Path, path: Path) -> None:
    """Print what a settings file leaves open."""
    from pullbook.pipeline.settings import shop_settings

    shop_settings.load(path)
    sheets = _read([folder], None).sheets
    unknown = shop_settings.unknown(f for sheet in sheets for f in sheet.findings)
    typer.echo(f"{path} is valid. Headings without a meaning: {len(unknown)}")
    for heading in unknown:
        typer.echo(f"  {json.dumps(heading, ensure_ascii=False)}:")
    if lines := check_text.to_decide(sheets, every=True):
        typer.echo("\n".join(lines))


def contribute(
    paths: options.Sheets,
    into: Annotated[
        Path | None, typer.Option("--into", help="Folder to write accepted and rejected sheets to.")
    ] = None,
    key_file: options.KeyFile = None,
    settings_file: options.ShopSettings = None,
    preview: Annotated[
        bool, typer.Option("--preview", help="Show everything that would be shared; write nothing.")
    ] = False,
    pack: Annotated[
        Path | None,
        typer.Option("--pack", help="Also write one signed archive of your shop's sheets to send."),
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against",
            help="With --preview: data set to compare with, to see how rare a build is.",
        ),
    ] = None,
) -> None:
    """Check sheets, replace the shop's name by a code, and write what you can share."""
    from pullbook.pipeline.privacy import contribute as contributing
    from pullbook.pipeline.privacy import key_file as keys

    if (into is None) != preview:
        msg = "give either a folder to write to (--into DIR) or --preview"
        raise typer.BadParameter(msg)
    path = key_file or keys.default_path()
    new = not path.exists()
    if into is None:
        key = b"a key for a preview" if new else own_key.key_of(path)
        settings = inputs.shop_settings(settings_file)
        plan = contributing.plan(paths, key, settings, track=output.bar("Preparing"))
        _preview(plan, against, new_key=new)
        raise typer.Exit(code=int(bool(plan.refused)))
    key = own_key.key_of(path, make=True)
    outcome = contributing.contribute(
        paths, into, key, inputs.shop_settings(settings_file), keys.Counts.beside(path),
        output.bar("Preparing"),
    )  # fmt: skip
    if new:
        messages.say(
            f"Made a key in {path}. Back it up now: pullbook backup-key FILE. Without it nobody can"
            " replace or withdraw your sheets, answer for your own dyno or open your rejected"
            " originals. Keep it private: whoever has it can speak as your shop."
        )
    _report(outcome, into)
    if pack is not None:
        shops = {entry.shop for entry in outcome.plan.accepted}
        number = packs.pack(into, pack, shops, key, path)
        typer.echo(f"Pack of {counted(number, 'sheet')} to send: {pack}")
    raise typer.Exit(code=int(bool(outcome.plan.refused)))


def _report(outcome: Outcome, into: Path) -> None:
    from pullbook.pipeline.privacy import refused_sheets

    plan = outcome.plan
    accepted = [entry.sheet for entry in plan.accepted]
    rejected = [refusal.sheet for refusal in plan.refused]
    typer.echo(check_text.count(accepted + rejected))
    typer.echo(
        f"Of the accepted: {outcome.new} new, {outcome.superseding} in place of an earlier"
        f" version, {outcome.unchanged} already there"
    )
    _names(accepted)
    typer.echo(f"Accepted sheets: {into / refused_sheets.ACCEPTED}")
    if rejected:
        typer.echo(
            f"Rejected sheets, with their findings: {into / refused_sheets.REFUSED} (yours to"
            f" fix; send {into / refused_sheets.ACCEPTED} alone)"
        )
        messages.say(check_text.rejected(rejected))
    _passed_over(plan.passed_over)


def _names(sheets: list[Sheet]) -> None:
    """Print what was done about names that could identify the shop."""
    lines = check_text.names(sheets)
    for line in lines[:_MOST_NAMES]:
        messages.say(f"  {line}")
    if len(lines) > _MOST_NAMES:
        messages.say(f"  and {len(lines) - _MOST_NAMES} more like these")


def _preview(plan: Plan, against: Path | None, *, new_key: bool) -> None:
    builds = None
    if against is not None:
        from pullbook.pipeline.curation import (
            data_set,
        )

        builds, _ = data_set.load(against)
    from pullbook.pipeline.privacy import contributed_sheet

    for entry in plan.accepted:
        typer.echo(f"=== {entry.name}: everything that is shared of {entry.sheet.source}")
        typer.echo(contributed_sheet.shown(entry.sheet.values, entry.sheet.readings))
        if builds is not None:
            from pullbook.pipeline.curation.rare_builds import rarity

            found = rarity(entry.sheet.values, builds)
            typer.echo(
                f"  rarity  other shops with this engine: {found.engine}; with a build like it:"
                f" {found.build}" + (_RARE if found.engine < _FEW else "")
            )
        typer.echo()
    accepted = [entry.sheet for entry in plan.accepted]
    rejected = [refusal.sheet for refusal in plan.refused]
    _texts(plan)
    typer.echo(check_text.count(accepted + rejected))
    _names(accepted)
    kinds = " or ".join(f"a {kind}" for kind in check_text.hinted(accepted))
    part = f" (unless it is part of {kinds})" if kinds else ""
    typer.echo(
        "Fields are rounded here for reading; the files hold all their digits, and a signature.\n"
        f"Never shared: the shop's name{part}, notes, elevation, the weather, the day of a date,"
        " names of files, and unknown fields and columns."
    )
    if rejected:
        messages.say(check_text.rejected(rejected))
    if new_key:
        messages.say("There is no key yet, so the codes will be different ones.")
    _passed_over(plan.passed_over)


def _texts(plan: Plan) -> None:
    """Print every distinct text that would be shared: each is worth a look."""
    if not plan.accepted:
        return
    typer.echo("Every text that is shared:")
    for label, values in check_text.shared_texts(entry.sheet for entry in plan.accepted):
        typer.echo(f"  {label}: {', '.join(values)}")
    typer.echo(f"  file names: {', '.join(sorted({entry.name for entry in plan.accepted}))}\n")


_FEW = 2
_RARE = " - rare: somebody who knows who builds such engines may guess the shop"


def _as_json(sheet: Sheet) -> dict[str, object]:
    return {
        "sheet_id": sheet.sheet_id,
        "source": sheet.source,
        "accepted": sheet.accepted,
        "findings": [
            {**finding.as_json(), "decision": finding.decision.as_json()}
            if finding.decision is not None
            else finding.as_json()
            for finding in sheet.findings
        ],
    }


def _passed_over(paths: list[Path]) -> None:
    if paths:
        messages.say(check_text.passed_over(paths))
