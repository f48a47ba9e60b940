"""Commands of a builder who runs engines: which one next, and how one that ran compares."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook import asking, options, output
from pullbook.unit_choice import Units

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def next_(  # noqa: PLR0913, PLR0917 - every one an option of the command
    candidates: Annotated[Path, typer.Argument(help="A builds.csv of what could be run.")],
    questions: Annotated[
        Path, typer.Option(help="A builds.csv, or one build, that you want to know about.")
    ],
    bundle: options.Bundle = None,
    most: Annotated[int, typer.Option(min=1, help="How many to name.")] = 5,
    units: options.UnitsOf = Units.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Say which engine to run next: what would teach most about your questions."""
    from pullbook import teaching  # noqa: PLC0415

    wanted = output.Wanted(as_json, plot, html)
    (could, some), (asked, others) = (asking.sound_builds(path) for path in (candidates, questions))
    predictor = asking.load(bundle)
    found, told = predictor.next(could, asked, most), predictor.told

    def figure() -> Figure:
        return teaching.figure(found, could)

    output.deliver(
        output.Outcome(
            as_json=lambda: teaching.as_json(found, could, asked),
            text=lambda: teaching.text(found, could, asked, told),
            figure=figure,
            page=lambda: teaching.page(found, could, asked, figure, told, units),
        ),
        wanted,
    )
    raise typer.Exit(code=int(some or others))


def against(  # noqa: PLR0913, PLR0917 - every one an option of the command
    sheet: Annotated[Path, typer.Argument(help="A dyno sheet of one engine that was run.")],
    bundle: options.Bundle = None,
    level: options.Level = 0.9,
    shop: options.Shop = None,
    key_file: options.KeyFile = None,
    units: options.UnitsOf = Units.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Hold a measured pull against its prediction: inside or not, and where to look."""
    from model import measured  # noqa: PLC0415
    from pullbook import measuring  # noqa: PLC0415

    options.check_level(level)
    wanted = output.Wanted(as_json, plot, html)
    pull = measured.pull(sheet)
    ran = pull.sheet
    asking.tell_asides([ran])
    (code,) = asking.shop_codes([ran], shop, key_file)
    predictor = asking.load(bundle)
    found = predictor.against(pull, level, code)
    known = predictor.learned_from(pull, found.found)
    before = measuring.first(found, known)

    def figure() -> Figure:
        return measuring.figure(found, ran.sheet_id, units)

    output.deliver(
        output.Outcome(
            as_json=lambda: {
                "sheet_id": ran.sheet_id,
                "standing": found.found.standing.value,
                "learned_from": known,
                **found.as_json(),
                "said": [*before, *measuring.verdict(found)],
            },
            text=lambda: measuring.text(found, before, ran, predictor.told, units),
            figure=figure,
            page=lambda: measuring.page(found, before, figure, ran, predictor.told, units),
        ),
        wanted,
    )


COMMANDS = (next_, against)
