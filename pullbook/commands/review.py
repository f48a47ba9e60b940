"""Commands of an analyst who decides: set a jury aside, judge two bundles, promote one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pullbook.commands import inputs, options
from pullbook.commands.output import counted
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

JUDGEMENT = "judgement.json"
_GOOD = ("better", "no worse")


def jury(
    curated: options.Curated,
    out: Annotated[Path, typer.Option("--out", help="A folder for `learn` and `jury`.")],
    share: Annotated[float, typer.Option(help="Of the shops to set aside, about.")] = 0.2,
) -> None:
    """Set some shops aside, from whom no model learns, to judge models by."""
    from pullbook.pipeline.curation import data_set
    from pullbook.pipeline.curation import jury as seating

    builds, pulls = data_set.load(curated)
    learn, on_jury = seating.split(builds, pulls, share, out)
    typer.echo(f"{counted(learn, 'shop')} to learn from: {out / seating.LEARN}")
    typer.echo(f"{counted(on_jury, 'shop')} to judge by: {out / seating.JURY}")


def judge(  # noqa: PLR0913, PLR0917 - every one an option of the command
    old: Annotated[Path, typer.Argument(help="The bundle in use, or the folder of promotions.")],
    new: Annotated[Path, typer.Argument(help="The bundle that would take its place.")],
    on: Annotated[
        Path, typer.Option("--on", help="Curated sheets of shops that neither has learned from.")
    ],
    level: options.Level = 0.9,
    params: options.Params = None,
    drift: Annotated[
        Path | None, typer.Option(help="What `pullbook report drift` wrote of the new sheets.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Write a page of it here.")] = None,
    as_json: options.AsJson = False,
) -> None:
    """Judge whether a new bundle deserves to replace the old one, on shops neither has seen."""
    from pullbook.model.review import judge as judging
    from pullbook.model.review import judgement, promotions
    from pullbook.model.training import bundle
    from pullbook.pipeline.curation import data_set
    from pullbook.reports import judgement_page

    rules = judgement.rules_from(options.section(params, "judge"))
    builds, pulls = data_set.load(on)
    both = bundle.load(promotions.current(old)), bundle.load(promotions.current(new))
    doubts = [] if drift is None else _doubts(drift, both[0][1]["id"])
    found = judging.judge(*both, builds, pulls, rules, level, doubts)
    if out is not None:
        judgement_page.page(found).write(out, "judgement")
        told = json.dumps(found.as_json(), indent=1, allow_nan=False)
        (out / JUDGEMENT).write_text(told + "\n", encoding="utf-8")
    typer.echo(
        json.dumps({**found.as_json(), "seconds": [round(one, 3) for one in found.seconds]})
        if as_json
        else judgement_page.text(found)
    )
    raise typer.Exit(code=int(found.verdict.value not in _GOOD))


def _doubts(drift: Path, bundle: str) -> list[str]:
    """Return the doubts that a look for drift left, if it was a look at the bundle in use."""
    told = _read(drift, "doubts")
    of = told.get("new", {}).get("bundle")
    if of != bundle:
        msg = f"{drift} is of bundle {of}, and the one in use is {bundle}: look for drift anew"
        raise InputError(msg)
    doubts: list[str] = told["doubts"]
    return doubts


def promote(
    bundle: Annotated[
        Path | None, typer.Argument(help="The bundle to put in use; none with --back.")
    ] = None,
    into: Annotated[
        Path, typer.Option("--into", help="The folder of promotions; made if need be.")
    ] = Path("models"),
    judgement: Annotated[
        Path | None, typer.Option(help="What `pullbook judge --out` wrote of the two.")
    ] = None,
    although: Annotated[
        str, typer.Option(help="Why it is put in use although nothing found it good enough.")
    ] = "",
    back: Annotated[bool, typer.Option("--back", help="Put the one before in use again.")] = False,
) -> None:
    """Put a bundle in use, if it was found good enough, and record it; or go back."""
    import datetime as dt

    from pullbook.model.review import promotions

    if back == (bundle is not None):
        msg = "name the bundle to promote, or --back, and not both"
        raise typer.BadParameter(msg, param_hint="BUNDLE")
    today = dt.datetime.now(tz=dt.UTC).date()
    if bundle is None:
        done = promotions.back(into, today, although)
    else:
        told = None if judgement is None else _read(judgement, "verdict")
        done = promotions.promote(bundle, into, told, today, although)
    before = f" in the place of {done.before}" if done.before else ""
    typer.echo(f"Bundle {done.bundle} is in use{before}; recorded in {into / promotions.RECORD}")
    typer.echo(f"Ask it with: --bundle {into}")


def _read(path: Path, wanted: str) -> Mapping[str, Any]:
    """Return a JSON object that must have a certain name in it."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as fault:
        msg = f"{path} is not JSON"
        raise InputError(msg) from fault
    if not isinstance(found, dict) or wanted not in found:
        msg = f"{path} holds no {wanted!r}"
        raise InputError(msg)
    return found


_LIST = Path("data/withdrawn.csv")


def withdraw(
    shop: Annotated[str, typer.Option(help="The shop: its code (8 characters do), or its name.")],
    why: Annotated[str, typer.Option(help="Why; kept on the list.")],
    sheet: Annotated[str, typer.Option(help="One sheet; without it all of the shop's.")] = "",
    listed: Annotated[Path, typer.Option("--list", help="The list to add to.")] = _LIST,
    key_file: options.KeyFile = None,
) -> None:
    """Take a sheet, or a shop, out of all that is curated from now on."""
    import datetime as dt

    from pullbook.pipeline.privacy import withdraw as withdrawing

    if withdrawing.is_like_code(shop):
        msg = (
            f"{shop!r} is no code of a shop: at least its first 8 characters are, in small letters"
        )
        raise withdrawing.WithdrawError(msg)
    code = shop if withdrawing.is_code(shop) else inputs.shop_code(shop, key_file)
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
    from pullbook.pipeline.privacy import withdraw as withdrawing

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
