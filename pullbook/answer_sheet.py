"""The answer sheet: one self-contained page that a shop can hand to a customer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook import answer_text
from pullbook.page import Page, svg_of
from schemas.fields import BUILD_FIELDS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.figure import Figure

    from model.answer import Answer
    from pipeline.sheet import Sheet
    from pullbook.unit_choice import Units


def begin(title: str, draw: Callable[[], Figure], alt: str) -> Page:
    """Return a page with its picture; ``alt`` says what the picture shows."""
    import matplotlib as mpl  # noqa: PLC0415 - for those who want a page

    from pullbook import chart  # noqa: PLC0415

    page = Page(title)
    with mpl.rc_context(chart.STYLE):
        page.picture("answer.svg", svg_of(draw()), alt)
    return page


def builds(page: Page, sheets: Sequence[Sheet], units: Units) -> None:
    """Add what the builds are made of: a row a field that any of them gives."""
    page.heading("The build" if len(sheets) == 1 else "The builds")
    rows = [
        [name.replace("_", " "), *(_given(sheet, name, units) for sheet in sheets)]
        for name in BUILD_FIELDS
        if any(name in sheet.values for sheet in sheets)
    ]
    page.table(["field", *(sheet.sheet_id for sheet in sheets)], rows)


def _given(sheet: Sheet, name: str, units: Units) -> str:
    return units.field(name, sheet.values[name]) if name in sheet.values else "not given"


def close(page: Page, told: dict[str, Any]) -> Page:
    """Add what it rests on and the cautions, and return the page."""
    page.heading("What it rests on")
    page.text(answer_text.source(told))
    if told.get("invented"):
        page.text("The engines behind this model are invented: it shows what an answer looks like.")
    page.heading("Caution")
    page.text(answer_text.CAUTION)
    return page


def of_answers(
    answers: Sequence[Answer], drawn: Sequence[Answer], sheets: Sequence[Sheet], units: Units
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
        That it is written in.

    """
    from pullbook import chart  # noqa: PLC0415

    said = "; ".join(
        f"{one.sheet_id}: {' '.join(answer_text.peaks(one, units))}" for one in answers
    )
    title = answers[0].sheet_id if len(answers) == 1 else "Predicted curves"
    alt = f"Predicted torque and power over engine speed with limits. {said}"
    page = begin(title, lambda: chart.of_answers(drawn, units), alt)
    for one in answers:
        _answer(page, one, units, alone=len(answers) == 1)
    builds(page, sheets, units)
    return close(page, answers[0].bundle)


def _answer(page: Page, one: Answer, units: Units, *, alone: bool) -> None:
    page.heading("The answer" if alone else one.sheet_id)
    page.text(f"It stands {answer_text.STANDING[one.standing.value]}.")
    for reason in one.reasons:
        page.text(f"{reason.message}.")
    for line in answer_text.peaks(one, units):
        page.text(f"{line}.")
    percent = f"{100 * one.level:g} % limits"
    rows = []
    for point in one.curve:
        torque, power = units.between(point.torque, "lb-ft"), units.between(point.power, "hp")
        rows.append(
            [f"{point.rpm:.0f}", f"{torque.value:.0f}", answer_text.limits(torque),
             f"{power.value:.0f}", answer_text.limits(power)]
            if point.supported else [f"{point.rpm:.0f}", "", "not swept with such builds", "", ""]
        )  # fmt: skip
    page.table(["rpm", units.torque, percent, units.power, percent], rows)
    page.text(answer_text.promise(one))
    page.text(answer_text.missing(one))
    page.text("Nearest sheets: " + ", ".join(name for name, _ in one.nearest) + ".")
