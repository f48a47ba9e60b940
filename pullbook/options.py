"""Options and arguments that several commands share, each defined once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Sheets = Annotated[
    list[Path], typer.Argument(help="Sheet files, folders of them, tables or workbooks.")
]
Curated = Annotated[Path, typer.Argument(help="A folder that `pullbook curate` wrote.")]
Bundle = Annotated[Path, typer.Option("--bundle", help="A bundle that `pullbook train` wrote.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
KeyFile = Annotated[
    Path | None,
    typer.Option("--key-file", help="The contributor's key; by default in your configuration."),
]
Params = Annotated[
    Path | None,
    typer.Option("--params", help="A YAML file whose section `train` holds the settings."),
]
Seed = Annotated[int | None, typer.Option("--seed", min=1, help="Of everything drawn by chance.")]
OwnHeadings = Annotated[
    Path | None,
    typer.Option("--headings", help="What your own headings mean; see `pullbook headings`."),
]
Level = Annotated[float, typer.Option(help="Of the limits, between 0 and 1.")]
Rpm = Annotated[str, typer.Option(help="Engine speeds, first:last:step.")]
Plot = Annotated[Path | None, typer.Option(help="Draw it into this .svg, .png or .pdf.")]
