"""An explanation as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.explanation_text import (
    DISTANCE,
    by_size,
    first,
    group,
    heading,
    near,
    notes,
    origin,
    rows,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from matplotlib.figure import Figure

    from pullbook.model.answers.explain import Explanation
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.words.units import Units


def page(
    found: Explanation,
    draw: Callable[[], Figure],
    sheet: Build,
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of an explanation."""
    alt = f"What each group of parts adds over engine speed; most: {group(by_size(found)[0])}."
    made = customer_sheet.begin(
        f"What makes the curve of {found.sheet_id}", draw, alt, units, manifest
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
