"""Commands of a shop that shares sheets: withdraw them, and keep the key that signs them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pullbook.arguments import messages, options
from pullbook.pipeline.storage import whole_writes
from pullbook.schemas.errors import InputError, must_exist
from pullbook.tasks import own_key
from pullbook.words.figures import counted, listed


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

    key = own_key.key_of(path)
    counts = key_file.Counts.beside(path or key_file.default_path())
    names = [] if not sheets else own_sheets.contributed_names(sheets, shop, key, counts)
    name = own_sheets.shop_of(shop, counts)
    signer = signatures.signer(key, name)
    count = own_sheets.next_count(signer, name, counts)
    made = withdraw.request(signer, names, count)
    whole_writes.write_text(out, made.as_text())
    what = counted(len(sheets), "sheet") if sheets else "all sheets"
    short = signer.code[: signatures.SHORT_CODE]
    typer.echo(
        f"Request to withdraw {what} of {name} (code {short}) written to {out}. Send it to whoever"
        f" holds your sheets; they run: pullbook withdraw --apply {out.name} --from DIR"
    )


def _apply(request: Path, folder: Path) -> None:
    from pullbook.pipeline.curation import data_set, withdrawn_traces
    from pullbook.pipeline.privacy import signatures, withdraw

    must_exist(folder)
    one = withdraw.read(request)
    what = listed(one.sheets) if one.sheets else "all sheets"
    asked = f"Shop {one.code[: signatures.SHORT_CODE]} withdrew {what}"
    if (folder / data_set.BUILDS).is_file():
        gone = withdrawn_traces.take_out(one, folder)
        typer.echo(
            f"{asked}: {counted(gone, 'sheet')} taken out of the data set {folder}. Apply the"
            " request to the folder of contributed sheets too, or they come back when it is curated"
            " again.\nNext, with your own folder for bundle:\n"
            f"  pullbook train {folder} --out bundle\n"
            f"  pullbook audit {folder} bundle --request {request}"
        )
        return
    gone = withdraw.apply(one, folder)
    none = "" if gone else " No sheet of such a name was signed by this shop before its request."
    typer.echo(
        f"{asked}: {counted(gone, 'file')} removed from {folder}.{none} The request stays in"
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


def unpack(
    path: Annotated[Path, typer.Argument(help="Archive from `pullbook contribute --pack`.")],
    into: Annotated[Path, typer.Option("--into", help="Folder of contributed sheets to add to.")],
) -> None:
    """Check a shop's signed archive and add its sheets to a folder of contributed sheets."""
    from pullbook.pipeline.privacy import pack, signatures

    code, number = pack.unpack(path, into)
    short = code[: signatures.SHORT_CODE]
    typer.echo(f"{counted(number, 'sheet')} of shop {short} unpacked into {into}")


def hand_over(
    shop: Annotated[
        str | None, typer.Option(help="Your shop's name, if your key serves several.")
    ] = None,
    new_key_file: Annotated[
        Path | None, typer.Option("--new-key-file", help="Your new key; made if it is not there.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="File to write and to send, signed by the old key.")
    ] = None,
    apply: Annotated[
        Path | None, typer.Option("--apply", help="Hand-over of a shop to carry out.")
    ] = None,
    into: Annotated[
        Path | None, typer.Option("--to", help="With --apply: folder of contributed sheets.")
    ] = None,
    key_file: options.KeyFile = None,
) -> None:
    """Move your shop from an old key to a new one, signed by the old; or carry out such a move."""
    from pullbook.pipeline.privacy import hand_over as handing
    from pullbook.pipeline.privacy import key_file as keys
    from pullbook.pipeline.privacy import own_sheets, signatures

    if apply is not None and into is not None:
        one = handing.read(apply)
        handing.keep(one, into)
        old, new = (code[: signatures.SHORT_CODE] for code in (one.old, one.new))
        typer.echo(f"Shop {old} is handed over to the new key; its code is now {new}")
        return
    if new_key_file is None or out is None:
        msg = "give --new-key-file and --out FILE, or --apply FILE with --to DIR"
        raise typer.BadParameter(msg)
    key, path = own_key.key_of(key_file), key_file or keys.default_path()
    counts = keys.Counts.beside(path)
    name = own_sheets.shop_of(shop, counts)
    new_key = own_key.key_of(new_key_file, make=True)
    if new_key == key:
        msg = f"{new_key_file} holds the old key; name another file for the new one"
        raise InputError(msg)
    signer = signatures.signer(key, name)
    count = own_sheets.next_count(signer, name, counts)
    made = handing.make(signer, signatures.signer(new_key, name), count)
    whole_writes.write_text(out, made.as_text())
    typer.echo(
        f"Hand-over of {name} to the key {new_key_file} written to {out}. Send it to whoever holds"
        f" your sheets; they run: pullbook hand-over --apply {out.name} --to DIR. From now on"
        " contribute with the new key, and back it up."
    )


def bring_over(
    folder: Annotated[Path, typer.Argument(help="Folder contributed before sheets were signed.")],
    into: Annotated[Path, typer.Option("--into", help="Folder to write the signed sheets to.")],
    shop: Annotated[
        list[str], typer.Option("--shop", help="Name of the shop; may be given several times.")
    ],
    key_file: options.KeyFile = None,
) -> None:
    """Sign sheets that were contributed before there were signatures, with the same key."""
    from pullbook.pipeline.privacy import key_file as keys
    from pullbook.pipeline.privacy import own_sheets

    must_exist(folder)
    key, path = own_key.key_of(key_file), key_file or keys.default_path()
    outcome = own_sheets.bring_over(folder, into, key, shop, keys.Counts.beside(path))
    accepted, refused = len(outcome.plan.accepted), len(outcome.plan.refused)
    typer.echo(f"{counted(accepted, 'sheet')} signed and written to {into}; {refused} left out")
    for one in outcome.plan.refused:
        why = one.sheet.fault
        messages.say(f"{one.sheet.source}: {why.message if why else 'left out'}")
    raise typer.Exit(code=int(refused > 0))


def unseal(
    shared: Annotated[Path, typer.Argument(help="Folder written by `pullbook contribute`.")],
    into: Annotated[Path, typer.Option("--into", help="Folder to write the originals to.")],
    key_file: options.KeyFile = None,
) -> None:
    """Get back the originals of rejected sheets, byte for byte, with your contributor key."""
    from pullbook.pipeline.privacy import refused_sheets

    must_exist(shared)
    key = own_key.key_of(key_file)
    written = refused_sheets.unseal(shared, into, key)
    for path in written:
        typer.echo(str(path))
