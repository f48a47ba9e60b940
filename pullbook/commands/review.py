"""Commands of an analyst: set a jury aside, judge two bundles, promote one, audit withdrawals."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pullbook.arguments import messages, options
from pullbook.schemas.errors import InputError, must_exist
from pullbook.words.figures import counted, listed

if TYPE_CHECKING:
    from collections.abc import Mapping

JUDGEMENT = "judgement.json"
_GOOD = ("better", "no worse")
#: Most bytes of a judgement, or of a report on drift.
_MOST_BYTES = 20_000_000


def jury(
    curated: options.Curated,
    out: Annotated[Path, typer.Option("--out", help="Folder to write `learn` and `jury` to.")],
    share: Annotated[
        float,
        typer.Option(help="Share of the shops, or of few shops' engines, to set aside: 0 to 1."),
    ] = 0.2,
) -> None:
    """Set some shops, or engines of few shops, aside as a jury that no model learns from."""
    from pullbook.pipeline.curation import data_set
    from pullbook.pipeline.curation import jury as seating

    builds, pulls = data_set.load(curated)
    learn, on_jury, what = seating.split(builds, pulls, share, out)
    typer.echo(f"{counted(learn, what)} to learn from: {out / seating.LEARN}")
    typer.echo(f"{counted(on_jury, what)} to judge by: {out / seating.JURY}")


def judge(  # noqa: PLR0913, PLR0917 - every one an option of the command
    old: Annotated[Path, typer.Argument(help="Bundle in use, or the folder of promotions.")],
    new: Annotated[Path, typer.Argument(help="Bundle that would replace it.")],
    on: Annotated[
        Path,
        typer.Option(
            "--on",
            help="Data set of shops or engines that neither bundle has learned from (the jury).",
        ),
    ],
    level: options.Level = 0.9,
    params: options.Params = None,
    drift: Annotated[
        Path | None,
        typer.Option(help="drift.json of the new sheets, written by `pullbook report drift`."),
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Folder to write a page to.")] = None,
    as_json: options.AsJson = False,
) -> None:
    """Compare a new bundle with the one in use, on what neither has learned from."""
    from pullbook.model.review import judge as judging
    from pullbook.model.review import judgement, promotion_record, promotions
    from pullbook.model.training import bundle
    from pullbook.pipeline.curation import data_set
    from pullbook.pipeline.storage import whole_writes
    from pullbook.reports import judgement_page

    rules = judgement.rules_from(options.section(params, "judge"))
    builds, pulls = data_set.load(on)
    both = bundle.load(promotions.judged(old)), bundle.load(promotion_record.current(new))
    in_use = promotion_record.current(old)
    known = both[0] if in_use == promotions.judged(old) else bundle.load(in_use)
    doubts = [] if drift is None else _doubts(drift, known[1]["id"])
    found = judging.judge(*both, builds, pulls, rules, level, doubts)
    if out is not None:
        judgement_page.page(found).write(out, "judgement")
        lines = json.dumps(found.as_json(), indent=1, allow_nan=False)
        whole_writes.write_text(out / JUDGEMENT, lines + "\n")
    typer.echo(
        json.dumps({**found.as_json(), "seconds": [round(one, 3) for one in found.seconds]})
        if as_json
        else judgement_page.text(found)
    )
    raise typer.Exit(code=int(found.verdict.value not in _GOOD))


def _doubts(drift: Path, bundle: str) -> list[str]:
    """Return the doubts of a drift report, which must be of the bundle in use."""
    report = _read(drift, "doubts")
    doubts, new = report["doubts"], report.get("new")
    of = new.get("bundle") if isinstance(new, dict) else None
    if not isinstance(doubts, list) or not all(isinstance(one, str) for one in doubts):
        msg = f"{drift} was not written by `pullbook report drift`; run it and name its drift.json"
        raise InputError(msg)
    if of != bundle:
        msg = (
            f"{drift} is of bundle {of}, but {bundle} is in use: run `pullbook report drift` again"
        )
        raise InputError(msg)
    return doubts


def promote(
    bundle: Annotated[
        Path | None, typer.Argument(help="Bundle to put in use; leave it out with --back.")
    ] = None,
    into: Annotated[
        Path, typer.Option("--into", help="Folder of promotions; made if it is not there.")
    ] = Path("models"),
    judgement: Annotated[
        Path | None,
        typer.Option(help="judgement.json of the two bundles, written by `pullbook judge --out`."),
    ] = None,
    although: Annotated[
        str,
        typer.Option(
            help="Puts it in use even without a good judgement. Give the reason here; it is kept in"
            " the record."
        ),
    ] = "",
    back: Annotated[
        bool, typer.Option("--back", help="Go back to the bundle that was in use before.")
    ] = False,
) -> None:
    """Put a bundle in use if the judgement allows it, and record it; or go back."""
    import datetime as dt

    from pullbook.model.review import promotions
    from pullbook.model.review.promotion_record import RECORD

    if back == (bundle is not None):
        msg = "give either a bundle to promote or --back"
        raise typer.BadParameter(msg, param_hint="BUNDLE")
    today = dt.datetime.now(tz=dt.UTC).date()
    if bundle is None:
        done = promotions.back(into, today, although)
    else:
        found = None if judgement is None else _read(judgement, "verdict")
        done = promotions.promote(bundle, into, found, today, although)
    before = f" in place of {done.before}" if done.before else ""
    typer.echo(f"Bundle {done.bundle} is in use{before}; recorded in {into / RECORD}")
    typer.echo(f"Ask it with: --bundle {into}")


def refit(
    curated: options.Curated,
    into: Annotated[Path, typer.Option("--into", help="Folder of promotions.")] = Path("models"),
    own: options.Own = False,
    key_file: options.KeyFile = None,
    settings_file: options.ShopSettings = None,
) -> None:
    """Train the bundle in use again on all shops, jury included, and put that in use."""
    import datetime as dt

    from pullbook.arguments import inputs
    from pullbook.commands import output
    from pullbook.model.review.promotion_record import RECORD
    from pullbook.tasks import refitting

    reader = inputs.own_reader([curated], settings_file, key_file) if own else None
    today = dt.datetime.now(tz=dt.UTC).date()
    done = refitting.refit(curated, into, reader, today, messages.say, output.bar("Training"))
    typer.echo(
        f"Bundle {done.bundle} is {done.before} fitted again to {done.why}, and is in use; recorded"
        f" in {into / RECORD}"
    )


def _read(path: Path, wanted: str) -> Mapping[str, Any]:
    """Return the JSON object of a file, which must have a certain key."""
    from pullbook.pipeline.storage import regular_files

    must_exist(path)
    try:
        found = json.loads(regular_files.read(path, _MOST_BYTES))
    except (OSError, ValueError, RecursionError) as fault:
        msg = f"{path} is not JSON"
        raise InputError(msg) from fault
    if not isinstance(found, dict) or wanted not in found:
        msg = f"{path} holds no {wanted!r}"
        raise InputError(msg)
    return found


def audit(
    places: Annotated[list[Path], typer.Argument(help="Files and folders to search.")],
    requests: Annotated[
        list[Path],
        typer.Option("--request", help="Request to withdraw sheets; may be given several times."),
    ],
) -> None:
    """Find out whether anything withdrawn is left in data, bundles or reports."""
    from pullbook.pipeline.curation import withdrawn_traces
    from pullbook.pipeline.privacy import withdraw as withdrawing
    from pullbook.pipeline.privacy.signatures import SHORT_CODE

    for place in places:
        must_exist(place)
    found = [withdrawing.read(path) for path in requests]
    own = {path.resolve() for path in requests}
    not_searched: list[withdrawn_traces.NotSearchedError] = []
    hits = [
        hit for hit in withdrawn_traces.left(places, found, not_searched.append)
        if hit[0].resolve() not in own and hit[0].parent.name != withdrawing.WITHDRAWN
    ]  # fmt: skip
    for file, one in hits:
        what = f"{listed(one.sheets)} of shop" if one.sheets else "shop"
        messages.say(f"{file} holds {what} {one.code[:SHORT_CODE]}")
    for fault in not_searched:
        messages.say(str(fault))
    blind = withdrawn_traces.blind(places, found)
    for file in blind:
        message = f"{file} names sheets without their shops, so a whole shop cannot be found in it"
        messages.say(message)
    files = counted(len({file for file, _ in hits}), "file")
    nothing = "nothing is left in what could be searched" if not_searched else "nothing is left"
    left = f"something is left in {files}" if hits else nothing
    typer.echo(f"{counted(len(found), 'request')} looked for: {left}.")
    raise typer.Exit(code=int(bool(hits or blind or not_searched)))
