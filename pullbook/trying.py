"""Commands of a builder who decides: vary a build, choose among parts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook import asking, options, output
from pullbook.unit_choice import Units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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
    from pullbook import chart, comparing, varying  # noqa: PLC0415

    limits = options.band_of(band)
    options.check_level(level)
    wanted = output.Wanted(as_json, plot, html)
    base = comparing.one_build(build)
    asking.tell_asides([base])
    ranges = varying.ranges(field)
    ties = varying.ties(tie or [], next(iter(ranges)))
    predictor = asking.load(bundle)
    (own,) = predictor.predictions([base])
    if warning := comparing.check_band([own], limits):
        typer.echo(warning, err=True)
    found, told = predictor.vary(base, ranges, limits, level, ties), predictor.told

    def figure() -> Figure:
        return varying.figure(own, found, limits, chart.fine(own.speeds), units)

    output.deliver(
        output.Outcome(
            as_json=lambda: {
                "sheet_id": base.sheet_id,
                "band": list(limits),
                "level": level,
                "variants": [one.as_json() for one in found],
            },
            text=lambda: varying.text(base, found, limits, told, units),
            figure=figure,
            page=lambda: varying.page(base, found, figure, limits, told, units),
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
    from pullbook import choosing  # noqa: PLC0415

    low = options.band_of(low_range, "--low-range")
    options.check_level(level)
    wanted = output.Wanted(as_json, plot, html)
    predictor = asking.load(bundle)
    found, told = predictor.choose(parts, low, level), predictor.told

    def figure() -> Figure:
        return choosing.figure(found, units)

    output.deliver(
        output.Outcome(
            as_json=found.as_json,
            text=lambda: choosing.text(found, told, units),
            figure=figure,
            page=lambda: choosing.page(found, figure, told, units),
        ),
        wanted,
    )
    raise typer.Exit(code=int(found.unfit[0] > 0))


COMMANDS = (vary, choose)
