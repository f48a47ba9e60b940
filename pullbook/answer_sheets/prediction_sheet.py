"""A prediction as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.answer_sheets.customer_sheet import begin, builds, close
from pullbook.drawings import prediction_drawing
from pullbook.reports.document import Page
from pullbook.text import caution_text, load_text, prediction_text
from pullbook.words import figures, promise

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.answer_sheets.letterhead import Letterhead
    from pullbook.model.trained.pulls import Pull
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Answer
    from pullbook.words.units import Units

#: What every prediction takes for granted.
ASSUMED = (
    "Full throttle, mixture and timing set for the most torque, an engine in good order, with the"
    " parts as listed. What is not given is taken from the rest of the build and from what is usual"
    " in the data."
)


def of_answers(
    answers: Sequence[Answer],
    drawn: Sequence[Answer],
    sheets: Sequence[Build],
    units: Units,
    head: Letterhead | None = None,
    pull: Pull | None = None,
) -> Page:
    """Return the answer sheet of at most four builds.

    Parameters
    ----------
    answers
        At the engine speeds of the table.
    drawn
        The same at speeds close enough together to draw.
    sheets
        The builds.
    units
        Units to write in.
    head
        Who it is from and for.
    pull
        A pull to draw beside them.

    """
    title = answers[0].sheet_id if len(answers) == 1 else "Predicted torque and power"
    drawing = prediction_drawing.of_answers(drawn, units, pull)
    page = begin(title, drawing, drawing.alt, units, answers[0].bundle, head)
    page.one_sheet = len(answers) == 1
    if pull is not None:
        page.text(f"{figures.sentence(prediction_drawing.pull_note(pull, units))}.")
    for one in answers:
        _answer(page, one, units, alone=len(answers) == 1)
    page.heading("What the limits mean")
    for line in prediction_text.meaning(answers):
        page.text(line)
    builds(page, sheets, units)
    page.heading("What is assumed")
    page.text(ASSUMED)
    return close(page, answers[0].bundle)


def _answer(page: Page, one: Answer, units: Units, *, alone: bool) -> None:
    page.heading("Result" if alone else one.sheet_id)
    for line in promise.first(one):
        page.text(line)
    page.text(f"This build is {prediction_text.STANDING[one.standing.value]}.")
    for reason in prediction_text.reasons(one.reasons, units):
        page.text(f"{figures.sentence(reason)}.")
    for line in (*prediction_text.peaks(one, units), *prediction_text.over_band(one, units)):
        page.text(f"{line}.")
    for line in caution_text.lines(one.cautions, units):
        page.text(line)
    percent = f"{figures.level(one.level)} limits"
    page.table(["rpm", f"torque, {units.torque}", percent, f"power, {units.power}", percent],
               prediction_text.table(one, units, "not tested"))  # fmt: skip
    if not all(point.supported for point in one.curve):
        page.text(f"Not tested: {prediction_text.NOT_TESTED}.")
    _loads(page, one, units)
    private = bool(one.bundle.get("private"))
    for line in promise.start(one, units, others=not private):
        page.text(line)
    for line in (*prediction_text.widened(one), *promise.family(one)):
        page.text(line)
    page.text(prediction_text.missing(one.missing))
    if not private:  # tests of other customers stay in the house
        page.text("Nearest sheets: " + ", ".join(name for name, _ in one.nearest) + ".")


def _loads(page: Page, one: Answer, units: Units) -> None:
    """Add how far torque clears each load."""
    for found in one.loads:
        page.text(f"Load: {load_text.name(found.load, units)}.")
        for line in load_text.verdict(found, one):
            page.text(line)
        page.table(load_text.headings(one, units), load_text.rows(found, one, units))
    for line in load_text.notes(one):
        page.text(line)
