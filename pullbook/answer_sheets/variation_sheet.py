"""What a field of a build does, as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.variation_text import (
    fields,
    headings,
    notes,
    over,
    row_name,
    table_cells,
    trade,
    values,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.drawings.chart import Chart
    from pullbook.model.choices.variant import Variant
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.words.units import Units


def page(
    base: Build,
    found: Sequence[Variant],
    chart: Chart,
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a build that was varied."""
    names = fields(found)
    lines = " ".join(trade(found, units))
    alt = f"{chart.alt} {lines}"
    made = customer_sheet.begin(f"{base.sheet_id}: {names} varied", chart, alt, units, manifest)
    made.heading(f"Means {over(found)}")
    made.table(
        [names, *headings(found, units)],
        [[row_name(values(one, units), one), *table_cells(one, units)] for one in found],
    )
    for line in notes(found, units):
        made.text(line)
    customer_sheet.builds(made, [base], units)
    return customer_sheet.close(made, manifest)
