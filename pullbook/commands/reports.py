"""Commands that write report pages."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pullbook.arguments import options
from pullbook.schemas.errors import InputError

_OUT = typer.Option("--out", help="Folder to write to; made if it is not there.")
group = typer.Typer(name="report", help="Write a report page, as Markdown and HTML.")


@group.command()
def curation(curated: options.Curated, out: Annotated[Path, _OUT]) -> None:
    """Report what is in a data set: sheets rejected and why, fields given, how shops read."""
    from pullbook.pipeline.curation import data_set
    from pullbook.reports import curation_page

    builds, pulls = data_set.load(curated)
    findings = data_set.load_findings(curated)
    curation_page.page(builds, pulls, findings).write(out, "curation")
    typer.echo(f"Report: {out / 'curation.html'} and {out / 'curation.md'}")


@group.command()
def drift(
    curated: options.Curated,
    since: Annotated[Path, typer.Option(help="Data set that the bundle was made from.")],
    bundle: Annotated[
        Path, typer.Option("--bundle", help="Bundle in use, or the folder of promotions.")
    ],
    out: Annotated[Path, _OUT],
) -> None:
    """Report what is new, how it differs, and how accurate the model in use is on it."""
    import json

    import pandas as pd

    from pullbook.model.review import drift as drifting
    from pullbook.model.review import promotions
    from pullbook.model.training import bundle as bundles
    from pullbook.pipeline.curation import data_set
    from pullbook.reports import drift_page

    builds, pulls = data_set.load(curated)
    earlier, _ = data_set.load(since)
    found = drifting.drift(*bundles.load(promotions.current(bundle)), builds, pulls, earlier)
    kept = out / drift_page.RECORD
    text = dict.fromkeys(("data", "bundle"), "str")
    before = pd.read_csv(kept, dtype=text) if kept.exists() else None
    if before is not None and not set(text) <= set(before.columns):
        msg = f"{kept} has no columns {' and '.join(text)}: it is not a record written by pullbook"
        raise InputError(msg)
    record = drifting.keep(before, found.record)
    drift_page.page(found, record).write(out, "drift")
    record.to_csv(kept, index=False, lineterminator="\n")
    lines = json.dumps(found.as_json(), indent=1, allow_nan=False)
    (out / "drift.json").write_text(lines + "\n", encoding="utf-8")
    for doubt in found.doubts:
        typer.echo(doubt, err=True)
    typer.echo(f"Report: {out / 'drift.html'} and {out / 'drift.md'}")
    raise typer.Exit(code=int(bool(found.doubts)))


@group.command()
def checks(out: Annotated[Path, _OUT]) -> None:
    """List every check of a sheet: its code, its meaning, and what follows from it."""
    from pullbook.reports import checks_page

    checks_page.page().write(out, "checks")
    typer.echo(f"Report: {out / 'checks.html'} and {out / 'checks.md'}")
