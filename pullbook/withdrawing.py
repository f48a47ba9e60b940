"""Commands for what a contributor asks back: withdraw it, and audit that nothing of it is left."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pullbook import asking, options

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

    code = shop if withdrawing.is_code(shop) else asking.shop_code(shop, key_file)
    if code is None:
        msg = f"{shop!r} is no code, and without its key a shop's name says nothing"
        raise withdrawing.WithdrawError(msg)
    today = dt.datetime.now(tz=dt.UTC).date()
    one = withdrawing.add(listed, code, sheet, today, why)
    what = f"sheet {one.sheet_id} of shop" if one.sheet_id else "all of shop"
    typer.echo(f"{what} {one.shop[: withdrawing.CODE_CHARS]} is withdrawn; {listed} says so")
    typer.echo("Curate and train again, then: pullbook audit")


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
    files = len({file for file, _ in hits})
    told = f"is left in {files} files" if hits else "is left"
    typer.echo(f"{'Something' if hits else 'Nothing'} of {len(found)} withdrawals {told}")
    raise typer.Exit(code=int(bool(hits)))


COMMANDS = (withdraw, audit)
