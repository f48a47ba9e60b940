"""Commands of a builder: why a curve is so, what to test next, a measured pull, a template."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pullbook.arguments import inputs, messages, options
from pullbook.commands import output
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.words.units import Units, UnitSystem

if TYPE_CHECKING:
    from pullbook.drawings.chart import Chart

_EXPLAINED_RPM = "2000:5000:500"


def explain(  # noqa: PLR0913, PLR0917 - every one an option of the command
    build: Annotated[Path, typer.Argument(help="File with one build.")],
    bundle: options.Bundle = None,
    level: options.Level = 0.9,
    rpm: options.Rpm = _EXPLAINED_RPM,
    shop: options.Shop = None,
    key_file: options.KeyFile = None,
    measured: options.Measured = None,
    correction: options.Correction = REFERENCE,
    system: options.UnitsOf = UnitSystem.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Explain a curve: what each group of parts adds, and the nearest sheets."""
    from pullbook.answer_sheets import explanation_sheet
    from pullbook.tasks import questions
    from pullbook.text import explanation_text

    speeds = options.speeds_of(rpm)
    options.check_level(level)
    units = options.units_of(system, correction)
    wanted = output.Wanted(as_json, plot, html)
    sheet = inputs.one_build(build)
    inputs.print_notes([sheet])
    predictor = inputs.load(bundle)
    asked = questions.must_be_sound(inputs.ask([sheet], predictor, shop, key_file, measured))
    (sheet,), codes, starts = asked
    found = predictor.explain(sheet, speeds, level, codes[0], starts[0])
    manifest = predictor.manifest

    def chart() -> Chart:
        from pullbook.drawings import explanation_drawing, fine_speeds

        return explanation_drawing.of_parts(found.at(fine_speeds.fine(speeds)), units)

    output.deliver(
        output.Outcome(
            as_json=lambda: units.as_json(found),
            text=lambda: explanation_text.text(found, manifest, units),
            chart=chart,
            page=lambda: explanation_sheet.page(found, chart(), sheet, manifest, units),
        ),
        wanted,
    )


def next_(  # noqa: PLR0913, PLR0917 - every one an option of the command
    candidates: Annotated[
        Path, typer.Argument(help="builds.csv of the engines that could be tested.")
    ],
    questions: Annotated[
        Path, typer.Option(help="Builds you want to know about: a builds.csv or one build.")
    ],
    bundle: options.Bundle = None,
    most: Annotated[int, typer.Option(min=1, help="Number of engines to name.")] = 5,
    system: options.UnitsOf = UnitSystem.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Find which engine to test next to narrow the limits of your builds most."""
    from pullbook.answer_sheets import next_test_sheet
    from pullbook.text import next_test_text

    units, wanted = Units(system), output.Wanted(as_json, plot, html)
    (could, some), (asked, others) = (inputs.sound_builds(path) for path in (candidates, questions))
    predictor = inputs.load(bundle)
    found, manifest = predictor.next(could, asked, most), predictor.manifest

    def chart() -> Chart:
        from pullbook.drawings import next_test_drawing

        return next_test_drawing.of_lessons(found, could, units)

    output.deliver(
        output.Outcome(
            as_json=lambda: next_test_text.as_json(found, could, asked),
            text=lambda: next_test_text.text(found, could, asked, manifest, units),
            chart=chart,
            page=lambda: next_test_sheet.page(found, could, asked, chart(), manifest, units),
        ),
        wanted,
    )
    raise typer.Exit(code=int(some or others))


def against(  # noqa: PLR0913, PLR0917 - every one an option of the command
    sheet: Annotated[Path, typer.Argument(help="Dyno sheet of one tested engine.")],
    bundle: options.Bundle = None,
    level: options.Level = 0.9,
    shop: options.Shop = None,
    key_file: options.KeyFile = None,
    correction: options.Correction = REFERENCE,
    system: options.UnitsOf = UnitSystem.INCH,
    plot: options.Plot = None,
    html: options.Html = None,
    as_json: options.AsJson = False,
) -> None:
    """Compare a measured pull with its prediction: inside the limits or not, and what to check."""
    from pullbook.answer_sheets import measured_sheet
    from pullbook.model.answers import measured_pull
    from pullbook.model.trained import pulls
    from pullbook.pipeline.physics.reference_condition import weather_of
    from pullbook.text import measured_text

    options.check_level(level)
    units = options.units_of(system, correction)
    wanted = output.Wanted(as_json, plot, html)
    pull = pulls.pull(sheet)
    ran = pull.sheet
    units = replace(units, weather=weather_of(ran.values))
    inputs.print_notes([ran], measured_text.CORRECTED)
    predictor = inputs.load(bundle)
    asked = inputs.ask([ran], predictor, shop, key_file)
    found = predictor.against(pull, level, asked.codes[0])
    known = measured_pull.learned_from(predictor.model, pull, found.found)
    before = measured_text.first(found, known, units)

    def chart() -> Chart:
        from pullbook.drawings import against_drawing

        return against_drawing.of_pull(found, ran.sheet_id, units)

    output.deliver(
        output.Outcome(
            as_json=lambda: {
                "sheet_id": ran.sheet_id,
                "standing": found.found.standing.value,
                "learned_from": known,
                **units.as_json(found),
                "sheet_correction": ran.values["correction"],
                "said": [*before, *measured_text.verdict(found)],
            },
            text=lambda: measured_text.text(found, before, ran, predictor.manifest, units),
            chart=chart,
            page=lambda: measured_sheet.page(
                found, before, chart(), ran, predictor.manifest, units
            ),
        ),
        wanted,
    )


def template(
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", help="New file to write the build to. Without it, prints to the screen."
        ),
    ] = None,
    system: options.UnitsOf = UnitSystem.INCH,
    schema: Annotated[
        bool,
        typer.Option(
            "--schema", help="Print the JSON Schema of a YAML build instead, for editors."
        ),
    ] = False,
) -> None:
    """Write a build to fill in: every field with its unit or choices."""
    from pullbook.pipeline.builds import build_template, json_schema

    filled = build_template.text(metric=Units(system).metric)
    text = json.dumps(json_schema.schema(), indent=2) + "\n" if schema else filled
    if out is None:
        typer.echo(text, nl=False)
        return
    _write(out, text)
    then = "" if schema else f"; fill it in, then: pullbook predict {out}"
    messages.say(f"Wrote {out}{then}")


def _write(path: Path, text: str) -> None:
    """Write a file that is not there yet."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        msg = f"{path} is there already and was not changed; name another file"
        raise typer.BadParameter(msg, param_hint="--out") from None
