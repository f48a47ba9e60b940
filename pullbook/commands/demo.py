"""The commands to start with: every step on invented sheets, and the page in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pullbook.commands import analyst, output
from pullbook.text import prediction_text
from pullbook.words.units import Units

#: A part of the circle whose model comes with pullbook, so that it takes a part of the time.
_SHOPS, _SHEETS = 25, 250
QUESTION = """\
# An invented build of an invented engine family.
# Leave out a field that you do not know.
sheet_id: harbour-launch
family: gannet-eight
cylinders: 8
arrangement: vee
bore: 4.03 in
stroke: 3.48 in
compression_ratio: 9.6
lifter: hydraulic roller
intake_duration: 218
exhaust_duration: 224
lobe_separation: 112
intake_lift: 0.470 in
intake_valve: 50.8 mm
intake_flow: 225 cfm
intake_type: dual plane
airflow: 650 cfm
exhaust_type: long-tube header
primary_diameter: 1.625 in
fuel: gasoline
octane: 91
"""


def demo(
    into: Annotated[Path, typer.Option("--into", help="Folder to write to.")] = Path("demo-out"),
) -> None:
    """Show every step on invented sheets, from raw sheets to one predicted curve."""
    from pullbook.charts import matplotlib_writer
    from pullbook.drawings import fine_speeds, prediction_drawing
    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.prediction.predict import DEFAULT_LEVEL
    from pullbook.model.range.tested_speeds import DEFAULT_RPM, speeds_of
    from pullbook.pipeline.builds import build_files
    from pullbook.pipeline.curation import curate as curating
    from pullbook.pipeline.demo import sheets, shops
    from pullbook.pipeline.privacy import contribute, key_file

    typer.echo("Every shop, engine and number here is invented.\n")
    raw, shared, curated, bundle = (into / n for n in ("sheets", "shared", "curated", "bundle"))
    circle = shops.Circle(_SHOPS, _SHEETS)
    made = sheets.make(raw, circle, track=output.bar("Running invented engines"))
    names = {m.shop.name for m in made}
    typer.echo(
        f"1. {len(names)} shops of the Tern Coast rebuilders' circle have {len(made)} dyno sheets."
    )
    path = into / "contributor.key"
    counts = key_file.Counts.beside(path)
    outcome = contribute.contribute([raw], shared, key_file.make(path), counts=counts)
    typer.echo(
        f"2. Contributed with codes for the shops' names: {len(outcome.plan.accepted)} accepted,"
        f" {len(outcome.plan.refused)} rejected, with reasons."
    )
    found = curating.curate([shared], track=output.bar("Curating"))
    found.write(curated)
    typer.echo(f"3. Curated at SAE J1349: {len(found.pulls)} readings.")
    typer.echo("4. ", nl=False)
    analyst.train(curated, bundle, invented=True)
    question = into / "question.yaml"
    question.write_text(QUESTION, encoding="utf-8")
    typer.echo("5. The prediction of one build:\n")
    picture = into / "answer.svg"
    rpm = speeds_of(*DEFAULT_RPM)
    (asked,) = Predictor.load(bundle).predictions(build_files.read(question), alone=True)
    answer = asked.answer(rpm, DEFAULT_LEVEL)
    typer.echo(prediction_text.full(answer, Units.INCH))
    fine = fine_speeds.finer(asked, rpm, DEFAULT_LEVEL)
    matplotlib_writer.draw(prediction_drawing.of_answers([fine], Units.INCH), picture)
    typer.echo(prediction_text.closing([answer]))
    typer.echo("\nFiles:")
    paths = (raw, shared, curated, bundle, question, picture)
    for path, what in zip(paths, _WRITTEN, strict=True):
        typer.echo(f"  {path!s:28} {what}")
    typer.echo(
        f"\nChange the build and predict again: pullbook predict {question} --bundle {bundle}"
    )


_WRITTEN = (
    "sheets as the shops keep them",
    "what the shops share (accepted), and what stays at home (refused)",
    "the data set",
    "the trained model",
    "the build: change it and predict again",
    "the prediction as a chart",
)
COMMANDS = (demo,)


def open_(
    folder: Annotated[
        Path | None,
        typer.Argument(help="Folder of your sheets, builds and models; without it, invented ones."),
    ] = None,
    port: Annotated[
        int | None,
        typer.Option(min=1, max=65535, help="Port to listen on; by default the one of last time."),
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the address only; open no browser.")
    ] = False,
) -> None:
    """Open the page in your browser: everything pullbook does, on this machine alone."""
    from pullbook.page.serve import serve

    serve(folder, port, browser=not no_browser)
