"""Commands of a builder: predict, compare, explain."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pullbook.arguments import inputs, messages, options
from pullbook.commands import output
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.words.units import UnitSystem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.answer_files.saved_answer import Saved
    from pullbook.answer_sheets.letterhead import Letterhead
    from pullbook.drawings.chart import Chart
    from pullbook.model.learning.sample import Floats
    from pullbook.model.trained.pulls import Pull
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Answer
    from pullbook.words.units import Units

_MOST_PLOTTED = 4


def predict(  # noqa: PLR0913, PLR0917 - every one an option of the command
    builds: Annotated[
        Path,
        typer.Argument(
            help="Builds to predict: a .yaml build, a sheet file, a builds.csv, or"
            " answers that --save kept."
        ),
    ],
    bundle: options.Bundle = None,
    level: options.Level = 0.9,
    rpm: options.Rpm = options.DEFAULT_RPM,
    band: Annotated[
        str | None, typer.Option(help="Average over these engine speeds too, in rpm as low:high.")
    ] = None,
    load: options.Loads = None,
    caution: options.Cautions = None,
    beside: Annotated[
        Path | None,
        typer.Option(help="Dyno sheet whose pull is drawn beside one to three builds."),
    ] = None,
    one_pair: Annotated[
        bool,
        typer.Option(
            "--one-pair", help="Draw torque and power of one build on one pair of axes, not on two."
        ),
    ] = False,
    shop: options.Shop = None,
    key_file: options.KeyFile = None,
    measured: options.Measured = None,
    correction: options.Correction = REFERENCE,
    system: options.UnitsOf = UnitSystem.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    csv: options.Csv = None,
    save: options.Save = None,
    customer: options.Customer = None,
    sender: options.Sender = None,
    logo: options.Logo = None,
    date: options.SheetDate = None,
    trust: options.Trust = None,
    as_json: options.AsJson = False,
) -> None:
    """Predict torque and power of a build, with error bars."""
    from pullbook.answer_files import saved_answer
    from pullbook.answer_sheets import letterhead
    from pullbook.model.prediction.cautions import cautions
    from pullbook.model.prediction.over_band import answer_of
    from pullbook.model.trained import pulls
    from pullbook.pipeline.builds import build_files
    from pullbook.pipeline.loads import ceilings
    from pullbook.tasks import questions

    speeds = options.speeds_of(rpm)
    options.check_level(level)
    units = options.units_of(system, correction)
    wanted = output.Wanted(as_json, plot, html, csv, save)
    head = letterhead.of(customer, sender, date, logo)
    if head.given and html is None:
        msg = "these go on an answer sheet; add --html FILE.html"
        raise typer.BadParameter(msg, param_hint="--for, --from, --logo, --date")
    if beside is not None and plot is None and html is None:
        msg = "the pull goes in a picture; add --plot FILE or --html FILE.html"
        raise typer.BadParameter(msg, param_hint="--beside")
    if one_pair and plot is None:
        msg = "it changes the picture of one build; give --plot FILE"
        raise typer.BadParameter(msg, param_hint="--one-pair")
    pull = None if beside is None else pulls.pull(beside)
    loads, most = options.loads_of(load, units), ceilings.read(caution or [])
    given = build_files.read(builds)
    before = saved_answer.read(builds)
    inputs.print_notes(given)
    predictor = inputs.load(bundle, trust)
    asked = inputs.ask(given, predictor, shop, key_file, measured)
    found = questions.predictions(asked, predictor)
    over = None if band is None else options.band_of(band)
    answers = [
        None if one is None else replace(
            answer_of(one, speeds, level, over, loads), cautions=cautions(build, one, most, speeds)
        )
        for build, one in zip(asked.builds, found, strict=True)
    ]  # fmt: skip
    if as_json:
        for build, answer in zip(given, answers, strict=True):
            line = inputs.refusal(build) if answer is None else units.as_json(answer)
            typer.echo(json.dumps(line, ensure_ascii=False))
    else:
        _print(given, answers, units, before)
    output.keep(given, answers, units, wanted)
    drawn = [pair for pair in zip(given, found, strict=True) if pair[1] is not None]
    if drawn and (plot is not None or html is not None):
        room = _MOST_PLOTTED - (pull is not None)
        shown = [answer for answer in answers if answer is not None][:room]
        if one_pair and len(drawn) > 1:
            msg = "one pair of axes holds one build; leave it out to draw several"
            raise typer.BadParameter(msg, param_hint="--one-pair")
        _draw(drawn[:room], shown, speeds, units, wanted, (head, pull), one_pair=one_pair)
        if len(drawn) > room:
            messages.say(f"Charts and answer sheets show the first {room} builds.")
    raise typer.Exit(code=int(len(drawn) < len(given)))


def _draw(
    drawn: Sequence[tuple[Build, Any]],
    answers: Sequence[Answer],
    rpm: Floats,
    units: Units,
    wanted: output.Wanted,
    more: tuple[Letterhead, Pull | None],
    *,
    one_pair: bool,
) -> None:
    """Draw at most four builds; ``more`` is who a sheet is from and for, and a pull beside them."""
    from pullbook.answer_sheets import prediction_sheet
    from pullbook.drawings import fine_speeds, prediction_drawing

    builds = [build for build, _ in drawn]
    level = answers[0].asked_level
    fine = [
        replace(fine_speeds.finer(one, rpm, level), loads=answer.loads)
        for (_, one), answer in zip(drawn, answers, strict=True)
    ]
    output.files(
        lambda: (
            prediction_drawing.on_one_pair(fine[0], units, pull=more[1])
            if one_pair
            else prediction_drawing.of_answers(fine, units, more[1])
        ),
        lambda: prediction_sheet.of_answers(answers, fine, builds, units, *more),
        wanted,
    )


def _print(
    builds: Sequence[Build], found: list[Answer | None], units: Units, before: Sequence[Saved] = ()
) -> None:
    from pullbook.answer_files import saved_answer
    from pullbook.text import load_text, prediction_text

    whole = len(builds) <= _MOST_PLOTTED
    given = [answer for answer in found if answer is not None]
    if given and not whole:
        typer.echo(prediction_text.summary(given, units))
        told = [(answer, line) for answer in given
                for line in load_text.lines(answer, units, whole=False)]  # fmt: skip
        for line in ["", *(f"{answer.sheet_id}\n{line}" for answer, line in told)]:
            typer.echo(line)
    for build, answer in zip(builds, found, strict=True):
        if answer is None:
            fault = "" if build.fault is None else build.fault.message
            messages.say(f"{build.sheet_id}: {fault}")
        elif whole:
            typer.echo(prediction_text.full(answer, units))
            for line in load_text.lines(answer, units):
                typer.echo(line)
    for saved, answer in zip(before, found, strict=False):
        if answer is not None:
            for line in saved_answer.changes(saved, answer, units):
                typer.echo(prediction_text.wrap(f"{answer.sheet_id}: {line}") + "\n")
    if given:
        for line in [] if whole else prediction_text.summary_foot(given):
            typer.echo(prediction_text.wrap(line))
        typer.echo(prediction_text.closing(given))


def compare(  # noqa: PLR0913, PLR0917 - every one an option of the command
    builds: Annotated[
        list[Path],
        typer.Argument(help="Two to four files, one build or one dyno sheet in each."),
    ],
    bundle: options.Bundle = None,
    band: options.Band = options.DEFAULT_BAND,
    level: options.Level = 0.9,
    one_shop: Annotated[
        bool,
        typer.Option(
            "--one-shop/--two-shops",
            help="All builds on one shop's dyno, or each on a different shop's.",
        ),
    ] = True,
    shop: options.Shop = None,
    key_file: options.KeyFile = None,
    measured: options.Measured = None,
    predicted: Annotated[
        bool,
        typer.Option("--predicted", help="Compare predictions, also of sheets that have a pull."),
    ] = False,
    same: Annotated[
        str | None,
        typer.Option(
            help="Give all the first one's parts of these groups or fields, with commas between:"
            " size, heads, camshaft, intake, exhaust, compression, fuel, lobe_separation ..."
        ),
    ] = None,
    correction: options.Correction = REFERENCE,
    system: options.UnitsOf = UnitSystem.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Compare builds or measured engines: which makes more, how sure that is, and what makes it."""
    from pullbook.answer_sheets import comparison_sheet
    from pullbook.model.answers import compared_sides
    from pullbook.model.comparison import tested_band
    from pullbook.model.trained.pulls import own_pull
    from pullbook.tasks import questions
    from pullbook.text import comparison_text

    limits = options.band_of(band)
    options.check_level(level)
    units = options.units_of(system, correction)
    wanted = output.Wanted(as_json, plot, html)
    if not 2 <= len(builds) <= _MOST_PLOTTED:
        msg = f"give two to {_MOST_PLOTTED} builds, not {len(builds)}"
        raise typer.BadParameter(msg, param_hint="BUILDS")
    if shop is not None and not one_shop:
        msg = "--two-shops and --shop contradict each other; leave one of them out"
        raise typer.BadParameter(msg, param_hint="--shop")
    sheets = inputs.named_apart([inputs.one_build(path) for path in builds], builds)
    inputs.print_notes(sheets)
    predictor = inputs.load(bundle)
    pulls = [None if predicted else own_pull(path) for path in builds]
    asked = questions.must_be_sound(inputs.ask(sheets, predictor, shop, key_file, measured, pulls))
    names = [name.strip() for name in (same or "").split(",") if name.strip()]
    sides = compared_sides.sides(predictor, *asked, pulls, names)
    found = sides.found
    if shop is not None and found[0].regime_name == "new shop":
        messages.say("The model does not know that shop; the limits are those for a new shop.")
    if warning := tested_band.check_band(found, limits):
        messages.say(warning)
    result = sides.compare(predictor, limits, level, one_shop=one_shop)
    manifest = predictor.manifest

    def chart() -> Chart:
        from pullbook.drawings import comparison_drawing, fine_speeds

        fine = fine_speeds.fine(result.differences[0].rpm)
        drawn = predictor.compare(
            found, limits, level, fine, one_shop=one_shop, beside=sides.before
        )
        return comparison_drawing.of_differences(
            found, drawn.differences, units, result.shares, made_same=result.before is not None
        )

    output.deliver(
        output.Outcome(
            as_json=lambda: units.as_json(result),
            text=lambda: comparison_text.text(result, manifest, units),
            chart=chart,
            page=lambda: comparison_sheet.page(result, chart(), sides.builds, manifest, units),
        ),
        wanted,
    )
