"""Commands that write pages for people who did not run the pipeline."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pullbook import options

_OUT = typer.Option("--out", help="The folder to write into; made if need be.")
group = typer.Typer(name="report", help="Write a page about a data set, as Markdown and HTML.")


@group.command()
def curation(curated: options.Curated, out: Annotated[Path, _OUT]) -> None:
    """Audit a data set: what came in, what was refused and why, and what the rest is worth."""
    from pipeline import curate as curating  # noqa: PLC0415
    from pullbook import curation_report  # noqa: PLC0415

    builds, pulls = curating.load(curated)
    findings = curating.load_findings(curated)
    curation_report.page(builds, pulls, findings).write(out, "curation")
    typer.echo(f"The audit is in {out / 'curation.html'} and {out / 'curation.md'}")


@group.command()
def checks(out: Annotated[Path, _OUT]) -> None:
    """List every check: its code, what follows, and what it means."""
    from pullbook import checks_report  # noqa: PLC0415

    checks_report.page().write(out, "checks")
    typer.echo(f"The checks are in {out / 'checks.html'} and {out / 'checks.md'}")
