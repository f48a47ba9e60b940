"""Commands that write pages for people who did not run the pipeline."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pullbook.commands import options
from pullbook.schemas.errors import InputError

_OUT = typer.Option("--out", help="The folder to write into; made if need be.")
group = typer.Typer(name="report", help="Write a page about a data set, as Markdown and HTML.")


@group.command()
def curation(curated: options.Curated, out: Annotated[Path, _OUT]) -> None:
    """Audit a data set: what came in, what was refused and why, and what the rest is worth."""
    from pullbook.pipeline.curation import data_set
    from pullbook.reports import curation_page

    builds, pulls = data_set.load(curated)
    findings = data_set.load_findings(curated)
    curation_page.page(builds, pulls, findings).write(out, "curation")
    typer.echo(f"The audit is in {out / 'curation.html'} and {out / 'curation.md'}")


@group.command()
def drift(
    curated: options.Curated,
    since: Annotated[
        Path, typer.Option(help="The curated folder as it was when the bundle was made.")
    ],
    bundle: Annotated[
        Path, typer.Option("--bundle", help="The bundle in use, or the folder of promotions.")
    ],
    out: Annotated[Path, _OUT],
) -> None:
    """Tell what is new, how it differs, and how the model in use does on it; adds to the record."""
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
        msg = f"{kept} has no columns {' and '.join(text)}: it is no record that pullbook kept"
        raise InputError(msg)
    record = drifting.keep(before, found.record)
    drift_page.page(found, record).write(out, "drift")
    record.to_csv(kept, index=False, lineterminator="\n")
    told = json.dumps(found.as_json(), indent=1, allow_nan=False)
    (out / "drift.json").write_text(told + "\n", encoding="utf-8")
    for doubt in found.doubts:
        typer.echo(doubt, err=True)
    typer.echo(f"What is new is told in {out / 'drift.html'} and {out / 'drift.md'}")
    raise typer.Exit(code=int(bool(found.doubts)))


@group.command()
def checks(out: Annotated[Path, _OUT]) -> None:
    """List every check: its code, what follows, and what it means."""
    from pullbook.reports import checks_page

    checks_page.page().write(out, "checks")
    typer.echo(f"The checks are in {out / 'checks.html'} and {out / 'checks.md'}")
