"""Commands of a shop that shares sheets: withdraw them, and keep the key that signs them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pullbook.commands import inputs, options
from pullbook.schemas.errors import must_exist
from pullbook.text.figures import counted, listed


def withdraw(
    sheets: Annotated[
        list[str] | None,
        typer.Argument(help="With --request: IDs or files of your sheets; without any, all."),
    ] = None,
    request: Annotated[
        bool, typer.Option("--request", help="Ask for sheets of yours to be withdrawn.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", help="With --request: file to write and to send.")
    ] = None,
    apply: Annotated[
        Path | None, typer.Option("--apply", help="Request of a shop to carry out.")
    ] = None,
    source: Annotated[
        Path | None,
        typer.Option("--from", help="With --apply: folder of contributed sheets."),
    ] = None,
    shop: Annotated[
        str | None,
        typer.Option(help="With --request: your shop's name, if your key serves several."),
    ] = None,
    key_file: options.KeyFile = None,
) -> None:
    """Ask, signed with your key, for sheets to be withdrawn; or carry out such a request."""
    if request == (apply is not None) or request != (out is not None):
        msg = "give either --request with --out FILE, or --apply FILE with --from DIR"
        raise typer.BadParameter(msg)
    if out is not None:
        _request(sheets or [], out, shop, key_file)
    elif apply is not None:
        if source is None or sheets:
            msg = "--apply FILE takes --from DIR and no sheets: the request names them"
            raise typer.BadParameter(msg)
        _apply(apply, source)


def _request(sheets: list[str], out: Path, shop: str | None, path: Path | None) -> None:
    from pullbook.pipeline.privacy import key_file, own_sheets, signatures, withdraw

    key = inputs.key_of(path)
    counts = key_file.Counts.beside(path or key_file.default_path())
    names = [] if not sheets else own_sheets.contributed_names(sheets, shop, key, counts)
    name = own_sheets.shop_of(shop, counts)
    signer = signatures.signer(key, name)
    (count,) = counts.take(signer.code, name, 1)
    made = withdraw.request(signer, names, count)
    out.write_text(made.as_text(), encoding="utf-8")
    what = counted(len(sheets), "sheet") if sheets else "all sheets"
    short = signer.code[: signatures.SHORT_CODE]
    typer.echo(
        f"Request to withdraw {what} of {name} (code {short}) written to {out}. Send it to whoever"
        f" holds your sheets; they run: pullbook withdraw --apply {out.name} --from DIR"
    )


def _apply(request: Path, folder: Path) -> None:
    from pullbook.pipeline.privacy import signatures, withdraw

    must_exist(folder)
    one = withdraw.read(request)
    gone = withdraw.apply(one, folder)
    what = listed(one.sheets) if one.sheets else "all sheets"
    typer.echo(
        f"Shop {one.code[: signatures.SHORT_CODE]} withdrew {what}:"
        f" {counted(gone, 'file')} removed from {folder}. The request stays in"
        f" {folder / withdraw.WITHDRAWN}, so that they do not come back.\n"
        "Next, with your own folders for curated and bundle:\n"
        f"  pullbook curate {folder} --out curated\n"
        "  pullbook train curated --out bundle\n"
        f"  pullbook audit curated bundle --request {request}"
    )


def backup_key(
    into: Annotated[Path, typer.Argument(help="File to write the backup to.")],
    key_file: options.KeyFile = None,
) -> None:
    """Back up your contributor key; without it nobody can withdraw or replace your sheets."""
    from pullbook.pipeline.privacy import key_file as keys

    path = key_file or keys.default_path()
    must_exist(path)
    keys.back_up(path, into)
    typer.echo(
        f"Backup of your key written to {into}. Keep it where only you can read it: whoever has it"
        " can speak as your shop."
    )


def restore_key(
    backup: Annotated[Path, typer.Argument(help="File that `pullbook backup-key` wrote.")],
    key_file: options.KeyFile = None,
) -> None:
    """Restore your contributor key from its backup; a key that is there is never replaced."""
    from pullbook.pipeline.privacy import key_file as keys

    must_exist(backup)
    path = key_file or keys.default_path()
    keys.restore(backup, path)
    typer.echo(f"Your key is restored in {path}. What you sign from now on counts as later.")
