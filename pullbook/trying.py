"""Commands of a builder who decides: vary a build, choose among parts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook import asking, options, output
from pullbook.unit_choice import Units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_STEP = 250.0
_LOW_RANGE = "2000:3000"


def vary(  # noqa: PLR0913, PLR0917 - every one an option of the command
    build: Annotated[Path, typer.Argument(help="A file with one build.")],
    field: Annotated[
        list[str], typer.Option(help="What to vary, field=low:high:step or field=one,another.")
    ],
    tie: Annotated[
        list[str] | None,
        typer.Option(help="A field that moves with the first, or field=amount for each of it."),
    ] = None,
    bundle: options.Bundle = None,
    band: options.Band = options.DEFAULT_BAND,
    level: options.Level = 0.9,
    units: options.UnitsOf = Units.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Say what one or two fields of a build do: gained where, lost where, and how sure."""
    from model import vary as varied  # noqa: PLC0415
    from model.ask import speeds_of  # noqa: PLC0415
    from pullbook import chart, comparing, varying  # noqa: PLC0415

    low, high = options.band_of(band)
    options.check_level(level)
    wanted = output.Wanted(as_json, plot, html)
    base = comparing.one_build(build)
    asking.tell_asides([base])
    ranges = varying.ranges(field)
    ties = varying.ties(tie or [], next(iter(ranges)))
    values = varied.combinations(ranges, ties, base.values)
    sheets = varying.sheets(base, values)
    model, told = asking.load(bundle)
    own, *others = comparing.predictions([base, *sheets], model, None)
    if warning := comparing.check_band([own], (low, high)):
        typer.echo(warning, err=True)
    rpm = speeds_of(low, high, _STEP if high - low >= 4 * _STEP else (high - low) / 8)
    found = varied.variants(own, others, values, model.pairs, (low, high), level, rpm)

    def figure() -> Figure:
        return varying.figure(own, found, (low, high), chart.fine(own.speeds), units)

    output.deliver(
        output.Outcome(
            as_json=lambda: {
                "sheet_id": base.sheet_id,
                "band": [low, high],
                "level": level,
                "variants": [one.as_json() for one in found],
            },
            text=lambda: varying.text(base, found, (low, high), told, units),
            figure=figure,
            page=lambda: varying.page(base, found, figure, (low, high), told, units),
        ),
        wanted,
    )


def choose(  # noqa: PLR0913, PLR0917 - every one an option of the command
    parts: Annotated[Path, typer.Argument(help="A .yaml list of parts, with a goal.")],
    bundle: options.Bundle = None,
    low_range: Annotated[
        str, typer.Option(help="Engine speeds of the low range, low:high.")
    ] = _LOW_RANGE,
    level: options.Level = 0.9,
    units: options.UnitsOf = Units.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Rank the combinations of parts on hand or on offer for a goal."""
    from model import choose as choosing_  # noqa: PLC0415
    from pipeline import parts_list  # noqa: PLC0415
    from pullbook import choosing  # noqa: PLC0415

    low = options.band_of(low_range, "--low-range")
    options.check_level(level)
    wanted = output.Wanted(as_json, plot, html)
    listed = parts_list.read(parts)
    model, told = asking.load(bundle)
    found = choosing_.choose(model, listed, level, low)

    def figure() -> Figure:
        return choosing.figure(found, units)

    output.deliver(
        output.Outcome(
            as_json=found.as_json,
            text=lambda: choosing.text(found, told, units),
            figure=figure,
            page=lambda: choosing.page(listed, found, figure, told, units),
        ),
        wanted,
    )


COMMANDS = (vary, choose)
