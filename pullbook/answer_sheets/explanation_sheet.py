"""An explanation as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.explanation_text import (
    DISTANCE,
    first,
    heading,
    near,
    notes,
    origin,
    rows,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.drawings.chart import Chart
    from pullbook.model.answers.explain import Explanation
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.words.units import Units


def page(
    found: Explanation,
    chart: Chart,
    sheet: Build,
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of an explanation."""
    made = customer_sheet.begin(
        f"{found.sheet_id}: what each group of parts adds", chart, chart.alt, units, manifest
    )
    for line in first(found, units):
        made.text(line)
    made.heading(f"Difference from {origin(found)}, by group of parts, {units.torque}")
    made.table(heading(found), rows(found, units))
    if not manifest.get("private"):  # tests of other customers stay in the house
        made.heading("Nearest sheets")
        made.table(
            ["sheet", "distance", "what differs most (this build / that sheet)"], near(found, units)
        )
        made.text(DISTANCE)
    for line in notes(found):
        made.text(line)
    customer_sheet.builds(made, [sheet], units)
    return customer_sheet.close(made, manifest)
