"""Commands for what a contributor asks back: withdraw it, and audit that nothing of it is left."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pullbook import asking, options
from pullbook.output import counted

_LIST = Path("data/withdrawn.csv")


def withdraw(
    shop: Annotated[str, typer.Option(help="The shop: its code (8 characters do), or its name.")],
    why: Annotated[str, typer.Option(help="Why; kept on the list.")],
    sheet: Annotated[str, typer.Option(help="One sheet; without it all of the shop's.")] = "",
    listed: Annotated[Path, typer.Option("--list", help="The list to add to.")] = _LIST,
    key_file: options.KeyFile = None,
) -> None:
    """Take a sheet, or a shop, out of all that is curated from now on."""
    import datetime as dt  # noqa: PLC0415

    from pipeline import withdraw as withdrawing  # noqa: PLC0415

    if withdrawing.is_like_code(shop):
        msg = (
            f"{shop!r} is no code of a shop: at least its first 8 characters are, in small letters"
        )
        raise withdrawing.WithdrawError(msg)
    code = shop if withdrawing.is_code(shop) else asking.shop_code(shop, key_file)
    if code is None:
        msg = f"{shop!r} is no code, and without its key a shop's name says nothing"
        raise withdrawing.WithdrawError(msg)
    today = dt.datetime.now(tz=dt.UTC).date()
    one = withdrawing.add(listed, code, sheet, today, why)
    what = f"sheet {one.sheet_id} of shop" if one.sheet_id else "all of shop"
    named = "" if code == shop else f" (the code of {shop!r} under your key)"
    typer.echo(f"{what} {one.shop[: withdrawing.CODE_CHARS]}{named} stands in {listed}")
    typer.echo("Curate with it, which says if nothing is found; train again; then: pullbook audit")


def audit(
    places: Annotated[list[Path], typer.Argument(help="Files and folders to look through.")],
    listed: Annotated[Path, typer.Option("--list", help="What was withdrawn.")] = _LIST,
) -> None:
    """Look whether anything that was withdrawn is left in data, bundles or reports."""
    from pipeline import withdraw as withdrawing  # noqa: PLC0415

    for place in places:
        if not place.exists():
            msg = f"there is no {place}"
            raise withdrawing.WithdrawError(msg)
    found = withdrawing.read(listed)
    hits = [hit for hit in withdrawing.left(places, found) if hit[0].resolve() != listed.resolve()]
    for file, one in hits:
        what = f"sheet {one.sheet_id} of shop" if one.sheet_id else "shop"
        typer.echo(f"{file} holds {what} {one.shop[: withdrawing.CODE_CHARS]}", err=True)
    blind = withdrawing.blind(places, found)
    for file in blind:
        message = f"{file} names sheets without their shops: of a whole shop it cannot be told"
        typer.echo(message, err=True)
    files = len({file for file, _ in hits})
    told = f"is left in {counted(files, 'file')}" if hits else "is left"
    what = counted(len(found), "withdrawal")
    typer.echo(f"{'Something' if hits else 'Nothing'} of {what} {told}")
    raise typer.Exit(code=int(bool(hits or blind)))


COMMANDS = (withdraw, audit)
