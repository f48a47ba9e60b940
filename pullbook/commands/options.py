"""Options and arguments that several commands share, each defined once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from pullbook.schemas.errors import InputError
from pullbook.text.units import Units

Sheets = Annotated[
    list[Path], typer.Argument(help="Sheet files, folders of them, tables or workbooks.")
]
Curated = Annotated[Path, typer.Argument(help="A folder that `pullbook curate` wrote.")]
Bundle = Annotated[
    Path | None,
    typer.Option(
        "--bundle",
        help="A bundle that `pullbook train` wrote; without one, a model of invented engines.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
KeyFile = Annotated[
    Path | None,
    typer.Option("--key-file", help="The contributor's key; by default in your configuration."),
]
Shop = Annotated[
    str | None, typer.Option(help="Ask as this shop; needs the key it contributed with.")
]
Params = Annotated[
    Path | None,
    typer.Option("--params", help="A YAML file with the settings, a section a command."),
]
Seed = Annotated[int | None, typer.Option("--seed", min=1, help="Of everything drawn by chance.")]
OwnHeadings = Annotated[
    Path | None,
    typer.Option("--headings", help="What your own headings mean; see `pullbook headings`."),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        help="The address of a Dask scheduler, tcp://...; its workers see the same files.",
    ),
]
Level = Annotated[float, typer.Option(help="Of the limits, between 0 and 1.")]
Rpm = Annotated[str, typer.Option(help="Engine speeds, first:last:step.")]
Plot = Annotated[Path | None, typer.Option(help="Draw it into this .svg, .png or .pdf.")]
Html = Annotated[
    Path | None, typer.Option("--html", help="Write an answer sheet to hand on into this .html.")
]
UnitsOf = Annotated[
    Units, typer.Option("--units", help="Of texts, pictures and answer sheets; not of JSON.")
]
Band = Annotated[str, typer.Option(help="Engine speeds that count, low:high.")]
DEFAULT_BAND = "2500:4500"


def section(params: Path | None, name: str) -> dict[str, Any]:
    """Return a section of a file of parameters; nothing where no file is named.

    Raises
    ------
    InputError
        The file is not YAML, or the section is not there or is none.

    """
    if params is None:
        return {}
    import yaml

    try:
        given = (yaml.safe_load(params.read_text(encoding="utf-8")) or {})[name] or {}
    except (yaml.YAMLError, UnicodeDecodeError, TypeError, KeyError) as fault:
        msg = f"{params} is not a YAML file with a section `{name}`"
        raise InputError(msg) from fault
    if not isinstance(given, dict):
        msg = f"the section `{name}` of {params} is not a list of settings"
        raise InputError(msg)
    return given


def check_level(level: float) -> None:
    """Refuse a level that is none."""
    if not 0 < level < 1:
        msg = f"the level is {level:g}; it must lie between 0 and 1, as 0.9"
        raise typer.BadParameter(msg, param_hint="--level")


def band_of(text: str, hint: str = "--band") -> tuple[float, float]:
    """Return the engine speeds that ``low:high`` means."""
    try:
        low, high = (float(part) for part in text.split(":"))
    except ValueError:
        msg = f"{text!r} is not low:high, as {DEFAULT_BAND}"
        raise typer.BadParameter(msg, param_hint=hint) from None
    if not 0 < low < high < 1e5:
        msg = f"{text!r} must rise from above nought"
        raise typer.BadParameter(msg, param_hint=hint)
    return low, high
