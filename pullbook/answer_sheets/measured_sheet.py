"""A measured pull against its prediction, as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.measured_text import corrected, headings, meaning, rows, verdict

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.drawings.chart import Chart
    from pullbook.model.answers.measured_pull import Measured
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.words.units import Units


def page(
    found: Measured,
    before: Sequence[str],
    chart: Chart,
    sheet: Build,
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a measured pull; ``before`` is what `first` returns."""
    lines = verdict(found)
    alt = f"{chart.alt} {lines[0]}"
    made = customer_sheet.begin(
        f"{sheet.sheet_id}: measured and predicted", chart, alt, units, manifest
    )
    made.heading("Result")
    for line in [*before, *lines, corrected(sheet, units)]:
        made.text(line)
    made.table(headings(found, units), rows(found, units))
    for line in meaning(found):
        made.text(line)
    customer_sheet.builds(made, [sheet], units)
    return customer_sheet.close(made, manifest)
