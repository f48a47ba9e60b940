"""Commands of a builder: vary a build, choose parts, search what was tested."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook.arguments import inputs, messages, options
from pullbook.commands import output
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.words.units import UnitSystem

if TYPE_CHECKING:
    from pullbook.drawings.chart import Chart
    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.choices.search_result import Search
    from pullbook.words.units import Units

_LOW_RANGE = "2000:3000"


def vary(  # noqa: PLR0913, PLR0917 - every one an option of the command
    build: Annotated[Path, typer.Argument(help="File with one build.")],
    field: Annotated[
        list[str],
        typer.Option(
            help="Field to vary, in its own unit: field=low:high:step or field=one,another."
        ),
    ],
    tie: Annotated[
        list[str] | None,
        typer.Option(
            help="Field to change along with the varied one. The name alone changes it by as much;"
            " field=amount changes it by that amount for each unit of the varied one."
        ),
    ] = None,
    bundle: options.Bundle = None,
    band: options.Band = options.DEFAULT_BAND,
    level: options.Level = 0.9,
    shop: options.Shop = None,
    key_file: options.KeyFile = None,
    measured: options.Measured = None,
    correction: options.Correction = REFERENCE,
    system: options.UnitsOf = UnitSystem.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Vary one or two fields of a build: where it gains, where it loses, and how sure that is."""
    from pullbook.answer_sheets import variation_sheet
    from pullbook.arguments import inputs
    from pullbook.model.comparison import tested_band
    from pullbook.pipeline.builds import field_ranges
    from pullbook.tasks import questions
    from pullbook.text import variation_text

    limits = options.band_of(band)
    options.check_level(level)
    units = options.units_of(system, correction)
    wanted = output.Wanted(as_json, plot, html)
    base = inputs.one_build(build)
    inputs.print_notes([base])
    ranges = field_ranges.ranges(field)
    ties = field_ranges.ties(tie or [], next(iter(ranges)))
    predictor = inputs.load(bundle)
    asked = questions.must_be_sound(inputs.ask([base], predictor, shop, key_file, measured))
    (base,), (code,), (start,) = asked
    (own,) = predictor.predictions([base], [code], [start])
    if warning := tested_band.check_band([own], limits):
        messages.say(warning)
    found = predictor.vary(base, ranges, limits, level, ties, code, start)
    manifest = predictor.manifest

    def chart() -> Chart:
        from pullbook.drawings import fine_speeds, variation_drawing

        rpm = fine_speeds.fine(own.speeds)
        return variation_drawing.of_variants(own, found, rpm, units)

    output.deliver(
        output.Outcome(
            as_json=lambda: {
                "sheet_id": base.sheet_id,
                "band": list(found[0].difference.over),
                "asked_band": list(limits),
                "level": level,
                "correction": units.standard,
                "variants": [one.times(units.ratio).as_json() for one in found],
            },
            text=lambda: variation_text.text(base, found, manifest, units),
            chart=chart,
            page=lambda: variation_sheet.page(base, found, chart(), manifest, units),
        ),
        wanted,
    )


def choose(  # noqa: PLR0913, PLR0917 - every one an option of the command
    parts: Annotated[
        Path,
        typer.Argument(
            help=".yaml file with the parts to choose from and the goal; with --free, a file with"
            " one build."
        ),
    ],
    bundle: options.Bundle = None,
    free: Annotated[
        list[str] | None,
        typer.Option(
            help="Search these instead of a parts list: a group such as camshaft, a field, or"
            " field=low:high."
        ),
    ] = None,
    goal: Annotated[
        str | None,
        typer.Option(
            help="What to search for: mean_torque=2000:4500 (or 2000:4500), least_torque=2000:4500,"
            " torque=3000 or power=5000."
        ),
    ] = None,
    load: options.Loads = None,
    caution: options.Cautions = None,
    budget: Annotated[
        float | None,
        typer.Option(help="The most that the parts of a parts list may cost together."),
    ] = None,
    low_range: Annotated[
        str, typer.Option(help="Low range that is weighed against peak power, in rpm as low:high.")
    ] = _LOW_RANGE,
    level: options.Level = 0.9,
    shop: options.Shop = None,
    key_file: options.KeyFile = None,
    measured: options.Measured = None,
    correction: options.Correction = REFERENCE,
    system: options.UnitsOf = UnitSystem.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Find the best parts for a goal: of a parts list, or by a search of what was tested."""
    from pullbook.answer_sheets import choice_sheet
    from pullbook.pipeline.builds import parts_list
    from pullbook.pipeline.loads import ceilings
    from pullbook.tasks import questions, searching
    from pullbook.text import choice_text

    low = options.band_of(low_range, "--low-range")
    options.check_level(level)
    units = options.units_of(system, correction)
    wanted = output.Wanted(as_json, plot, html)
    if (goal is None) != (not free):
        msg = "a search needs both: --free says what may change, --goal what it is for"
        raise typer.BadParameter(msg, param_hint="--free" if goal else "--goal")
    if budget is not None and free:
        msg = "a search has no prices; give a parts list, or leave --budget out"
        raise typer.BadParameter(msg, param_hint="--budget")
    loads = options.loads_of(load, units)
    predictor = inputs.load(bundle)
    if free and goal:
        build = inputs.one_build(parts)
        inputs.print_notes([build])
        asked = inputs.ask([build], predictor, shop, key_file, measured)
        found = searching.search(predictor, asked, free, goal, level, loads, caution or [])
        _deliver_search(predictor, found, units, wanted)
        return
    wanted_parts = parts_list.read(parts).times(1.0 / units.ratio)  # as the user's own standard
    if budget is not None:
        wanted_parts = parts_list.within_budget(wanted_parts, budget)
    aim = wanted_parts.goal._replace(
        loads=(*wanted_parts.goal.loads, *loads), ceilings=ceilings.read(caution or [])
    )
    asked = inputs.ask([wanted_parts.base], predictor, shop, key_file, measured)
    (base,), (code,), (start,) = questions.must_be_sound(asked)
    chosen = predictor.choose(replace(wanted_parts, base=base, goal=aim), low, level, code, start)
    manifest = predictor.manifest

    def chart() -> Chart:
        from pullbook.drawings import choice_drawing

        return choice_drawing.of_choice(chosen, units)

    output.deliver(
        output.Outcome(
            as_json=lambda: units.as_json(chosen),
            text=lambda: choice_text.text(chosen, manifest, units),
            chart=chart,
            page=lambda: choice_sheet.page(chosen, chart(), manifest, units),
        ),
        wanted,
    )
    raise typer.Exit(code=int(chosen.unfit[0] > 0))


def _deliver_search(
    predictor: Predictor, found: Search, units: Units, wanted: output.Wanted
) -> None:
    from pullbook.answer_sheets import search_sheet
    from pullbook.tasks import searching
    from pullbook.text import search_text

    manifest = predictor.manifest

    def chart() -> Chart:
        from pullbook.drawings import comparison_drawing

        builds, differences = searching.best_and_own(predictor, found)
        return comparison_drawing.of_differences(
            builds, differences, units, loads=found.goal.loads, title=search_text.title(found)
        )

    output.deliver(
        output.Outcome(
            as_json=lambda: units.as_json(found),
            text=lambda: search_text.text(found, manifest, units),
            chart=chart,
            page=lambda: search_sheet.page(found, chart(), manifest, units),
        ),
        wanted,
    )
