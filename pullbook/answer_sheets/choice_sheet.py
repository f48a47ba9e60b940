"""A choice of parts as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.choice_text import columns, first, headings, notes, shown, table_cells

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from matplotlib.figure import Figure

    from pullbook.model.answers.parts_choice import Choice
    from pullbook.reports.document import Page
    from pullbook.text.units import Units


def page(
    found: Choice,
    draw: Callable[[], Figure],
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a choice of parts."""
    alt = (
        f"Low-range torque against peak power of each combination. {' '.join(first(found, units))}"
    )
    made = customer_sheet.begin(f"Parts for {found.base.sheet_id}", draw, alt, units)
    made.heading("Result")
    for line in [*first(found, units), columns(found), *notes(found)]:
        made.text(line)
    made.table(["parts", *headings(found, units), "data"],
               [[one.name, *table_cells(found, one, units)[:6], one.found.standing.value]
                for one in shown(found)])  # fmt: skip
    customer_sheet.builds(made, [found.base], units)
    return customer_sheet.close(made, manifest)
