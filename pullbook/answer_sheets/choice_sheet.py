"""A choice of parts as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.choice_text import (
    PART_HEADINGS,
    about,
    first,
    headings,
    money_lines,
    not_clearing,
    notes,
    part_rows,
    shortfalls,
    shown,
    table_cells,
    title,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.drawings.chart import Chart
    from pullbook.model.choices.parts_choice import Choice
    from pullbook.reports.document import Page
    from pullbook.words.units import Units


def page(
    found: Choice,
    chart: Chart,
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a choice of parts."""
    alt = f"{chart.alt} {' '.join(first(found, units))}"
    made = customer_sheet.begin(title(found), chart, alt, units, manifest)
    made.heading("Result")
    for line in [*first(found, units), *about(found, units), *notes(found, units)]:
        made.text(line)
    if len(found.money) > 1:
        for line in money_lines(found, units):
            made.text(line.removeprefix("- "))
    if found.short:
        made.text(not_clearing(found))
        for line in shortfalls(found, units):
            made.text(line)
    made.table(["parts", *headings(found, units)],
               [[one.name, *table_cells(found, one, units)] for one in shown(found)])  # fmt: skip
    made.heading("The parts")
    made.table(PART_HEADINGS, part_rows(found, units))
    customer_sheet.builds(made, [found.base], units)
    return customer_sheet.close(made, manifest)
