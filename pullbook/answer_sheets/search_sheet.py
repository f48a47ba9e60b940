"""What a free search found, as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.search_text import alternatives, builds, first, headings, highest, notes, worth

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.drawings.chart import Chart
    from pullbook.model.choices.search_result import Search
    from pullbook.reports.document import Page
    from pullbook.words.units import Units


def page(found: Search, chart: Chart, manifest: Mapping[str, Any], units: Units) -> Page:
    """Return the answer sheet of a search."""
    title = f"{found.base.build.sheet_id}: {highest(found.goal)}"
    lines = first(found, units)
    alt = f"Torque of the best build (A) and of the build as it is (B). {' '.join(lines)}"
    made = customer_sheet.begin(title, chart, alt, units, manifest)
    made.heading("Result")
    for line in lines:
        made.text(line)
    made.table(headings(found, units), builds(found, units))
    for line in alternatives(found, units):
        made.text(line)
    if found.worth:
        made.heading("What each field is worth")
    for line in (*worth(found, units), *notes(found, units)):
        made.text(line)
    customer_sheet.builds(made, [found.base.build, found.best.build], units)
    return customer_sheet.close(made, manifest)
