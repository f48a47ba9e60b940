"""Commands that write report pages."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook.arguments import inputs, messages, options
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    import pandas as pd

#: Most bytes of a record of earlier reports.
_MOST_BYTES = 50_000_000
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
    bundle: Annotated[
        Path, typer.Option("--bundle", help="Bundle in use, or the folder of promotions.")
    ],
    out: Annotated[Path, _OUT],
    since: Annotated[
        Path | None,
        typer.Option(
            help="Data set that the bundle was made from; by default the sheets that the bundle"
            " learned from, known by their names."
        ),
    ] = None,
    own: options.Own = False,
    key_file: options.KeyFile = None,
    settings_file: options.ShopSettings = None,
) -> None:
    """Report what is new, how it differs, and how accurate the model in use is on it."""
    import json

    from pullbook.model.review import drift as drifting
    from pullbook.model.review import promotion_record
    from pullbook.model.training import bundle as bundles
    from pullbook.pipeline.curation import data_set
    from pullbook.pipeline.storage import csv_text, locks, whole_writes
    from pullbook.reports import drift_page
    from pullbook.tasks import training

    reader = inputs.own_reader([curated], settings_file, key_file) if own else None
    builds, pulls = training.data(curated, reader, messages.say)
    earlier = None if since is None else data_set.load(since)[0]
    found = drifting.drift(*bundles.load(promotion_record.current(bundle)), builds, pulls, earlier)
    kept = out / drift_page.RECORD
    out.mkdir(parents=True, exist_ok=True)
    with locks.beside(kept):
        record = drifting.keep(_record(kept), found.record)
        drift_page.page(found, record).write(out, "drift")
        whole_writes.write_text(kept, csv_text.of_table(record))
    lines = json.dumps(found.as_json(), indent=1, allow_nan=False)
    whole_writes.write_text(out / "drift.json", lines + "\n")
    for doubt in found.doubts:
        messages.say(doubt)
    typer.echo(f"Report: {out / 'drift.html'} and {out / 'drift.md'}")
    raise typer.Exit(code=int(bool(found.doubts)))


def _record(kept: Path) -> pd.DataFrame | None:
    """Return the record of earlier reports; ``None`` without one."""
    import io

    import pandas as pd

    from pullbook.pipeline.storage import csv_text, regular_files

    text = dict.fromkeys(("data", "bundle"), "str")
    if not kept.exists():
        return None
    try:
        before = pd.read_csv(io.BytesIO(regular_files.read(kept, _MOST_BYTES)), dtype=text)
    except (OSError, ValueError) as fault:
        msg = f"{kept} cannot be read as a record; restore it from a copy"
        raise InputError(msg) from fault
    if not set(text) <= set(before.columns):
        msg = f"{kept} has no columns {' and '.join(text)}: it is not a record written by pullbook"
        raise InputError(msg)
    return before.assign(
        **{name: before[name].map(csv_text.unquoted, na_action="ignore") for name in text}
    )


@group.command()
def checks(out: Annotated[Path, _OUT]) -> None:
    """List every check of a sheet: its code, its meaning, and what follows from it."""
    from pullbook.reports import checks_page

    checks_page.page().write(out, "checks")
    typer.echo(f"Report: {out / 'checks.html'} and {out / 'checks.md'}")
