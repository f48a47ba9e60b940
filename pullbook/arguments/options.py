"""Options and arguments that several commands share, each defined once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pullbook.schemas.errors import InputError
from pullbook.words.units import Units, UnitSystem

if TYPE_CHECKING:
    from pullbook.schemas.on_request import Load

Sheets = Annotated[
    list[Path], typer.Argument(help="Dyno sheets: files, folders, tables or workbooks.")
]
Curated = Annotated[Path, typer.Argument(help="Data set: a folder written by `pullbook curate`.")]
Bundle = Annotated[
    Path | None,
    typer.Option(
        "--bundle",
        help="Model to ask: a folder written by `pullbook train`; by default a model of invented"
        " engines.",
    ),
]
Sign = Annotated[
    bool,
    typer.Option(
        "--sign", help="Sign the bundle with your contributor key, and print what proves it."
    ),
]
Trust = Annotated[
    Path | None,
    typer.Option(
        "--trust",
        help="Take the bundle only if one of the keys in this file signed it: a key a line, as"
        " `pullbook train --sign` prints it.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON only.")]
KeyFile = Annotated[
    Path | None,
    typer.Option(
        "--key-file", help="Your contributor key; by default the one in your configuration folder."
    ),
]
Shop = Annotated[
    str | None,
    typer.Option(
        help="Answer for this shop's dyno; for a circle's model this needs the key that the shop"
        " contributed with."
    ),
]
Measured = Annotated[
    Path | None,
    typer.Option(
        help="Sheets on which this engine was measured before parts were changed: a file or folder."
    ),
]
Params = Annotated[
    Path | None,
    typer.Option("--params", help="YAML file of settings, with a section for each command."),
]
Seed = Annotated[
    int | None,
    typer.Option("--seed", min=1, help="Seed for everything drawn at random, a whole number."),
]
ShopSettings = Annotated[
    Path | None,
    typer.Option(
        "--settings",
        help="Your settings file, from `pullbook settings`; by default pullbook.yaml in the folder"
        " of the sheets.",
    ),
]
Own = Annotated[
    bool,
    typer.Option(
        "--own",
        help="Take folders of your own sheets, just as you keep them; the result is private.",
    ),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        help="Address of a Dask scheduler (tcp://host:port) whose workers see the same files.",
    ),
]
InsecureCluster = Annotated[
    bool,
    typer.Option(
        "--insecure-cluster", help="Use a scheduler without TLS that is not on this machine."
    ),
]
Level = Annotated[
    float,
    typer.Option(help="Level of the limits: at 0.9 about 9 in 10 measured values fall inside."),
]
Rpm = Annotated[str, typer.Option(help="Engine speeds in rpm, as first:last:step, or one.")]
Plot = Annotated[Path | None, typer.Option(help="Write a chart to this file (.svg, .png or .pdf).")]
Html = Annotated[
    Path | None,
    typer.Option("--html", help="Write an answer sheet for a customer to this .html file."),
]
Correction = Annotated[
    str,
    typer.Option(
        "--correction",
        metavar="STANDARD",
        help="Standard of every torque and power in the answer: SAE J1349, SAE J607, DIN 70020 or"
        " ISO 1585.",
    ),
]
Csv = Annotated[
    Path | None,
    typer.Option(
        "--csv", help="Write a table to this .csv file: a row for each build and engine speed."
    ),
]
Save = Annotated[
    Path | None,
    typer.Option(
        help="Keep the answers with their builds in this .json file, to be asked or compared again."
    ),
]
Customer = Annotated[str | None, typer.Option("--for", help="Customer named on the answer sheet.")]
Sender = Annotated[str | None, typer.Option("--from", help="Shop named on the answer sheet.")]
Logo = Annotated[Path | None, typer.Option(help="Logo for the answer sheet, a .png or .svg file.")]
SheetDate = Annotated[
    str | None, typer.Option(help="Date on the answer sheet, such as 2026-05-31; else today.")
]
UnitsOf = Annotated[
    UnitSystem,
    typer.Option(
        "--units",
        help="Units of text, charts and answer sheets; JSON is always in lb-ft, hp and inches.",
    ),
]
Loads = Annotated[
    list[str] | None,
    typer.Option(
        "--load",
        help="Torque that the engine must clear: 'propeller 150 hp @ 4000', 'towing 220 lb-ft @"
        " 1800:3200', or a .csv file with rpm and torque or power.",
    ),
]
Cautions = Annotated[
    list[str] | None,
    typer.Option(
        "--caution",
        help="Say where a build exceeds this: octane=87, peak_speed=5000, or piston_speed='3800"
        " ft/min'.",
    ),
]
Band = Annotated[str, typer.Option(help="Engine speeds to average over in rpm, as low:high.")]
DEFAULT_BAND, DEFAULT_RPM = "2500:4500", "2000:6500:250"
_MOST_SPEEDS = 2000


def section(params: Path | None, name: str) -> dict[str, Any]:
    """Return a section of a file of settings; nothing where no file is named.

    Raises
    ------
    InputError
        The file is not YAML, or has no such section, or the section holds no settings.

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
        msg = f"section `{name}` of {params} is not a list of settings"
        raise InputError(msg)
    return given


def units_of(system: UnitSystem, correction: str) -> Units:
    """Return how numbers are shown: in which units, and at which standard."""
    from pullbook.pipeline.vocabulary.words import standard_of

    try:
        return Units(system, standard_of(correction))
    except InputError as fault:
        raise typer.BadParameter(str(fault), param_hint="--correction") from None


def loads_of(given: list[str] | None, units: Units) -> list[Load]:
    """Return the loads that are given, which are at the standard that is shown."""
    if not given:
        return []
    from pullbook.pipeline.loads import read_load

    return [read_load.read(text).times(1.0 / units.ratio) for text in given]


def check_level(level: float) -> None:
    """Refuse a level that is not between 0 and 1."""
    if not 0 < level < 1:
        msg = f"the level is {level:g}; it must be between 0 and 1, for example 0.9"
        raise typer.BadParameter(msg, param_hint="--level")


def band_of(text: str, hint: str = "--band") -> tuple[float, float]:
    """Return the engine speeds that ``low:high`` means."""
    try:
        low, high = (float(part) for part in text.strip().removesuffix("rpm").split(":"))
    except ValueError:
        msg = f"{text!r} is not a range of rpm such as {DEFAULT_BAND}"
        raise typer.BadParameter(msg, param_hint=hint) from None
    if not 0 < low < high < 1e5:
        msg = f"{text!r} must start above 0 and rise"
        raise typer.BadParameter(msg, param_hint=hint)
    return low, high


def speeds_of(text: str) -> Any:
    """Return the engine speeds that ``first:last:step``, or one speed, means."""
    parts = text.strip().removesuffix("rpm").split(":")
    try:
        one = len(parts) == 1
        first, last, step = (float(part) for part in ([*parts, *parts, "1"] if one else parts))
    except ValueError:
        msg = f"{text!r} is not first:last:step, such as {DEFAULT_RPM}, nor one speed"
        raise typer.BadParameter(msg, param_hint="--rpm") from None
    if not (0 < first <= last < 1e5 and step > 0 and (last - first) / step < _MOST_SPEEDS):
        msg = f"{text!r} must start above 0 and rise in at most {_MOST_SPEEDS} steps"
        raise typer.BadParameter(msg, param_hint="--rpm")
    from pullbook.model.range import tested_speeds

    return tested_speeds.speeds_of(first, last, step)
