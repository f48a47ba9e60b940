"""An explanation as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from pullbook.answer_sheets import customer_sheet
from pullbook.text.explanation_text import first, near, notes

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from pullbook.model.answers.explain import Explanation
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.text.units import Units


def page(
    found: Explanation,
    draw: Callable[[], Figure],
    sheet: Build,
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of an explanation."""
    order = sorted(found.parts, key=lambda name: -float(np.abs(found.parts[name]).mean()))
    alt = "What each group of parts adds to the curve over engine speed; most of all " + order[0]
    made = customer_sheet.begin(f"What makes the curve of {found.sheet_id}", draw, alt)
    factor = units.shown(1.0, "lb-ft")
    for line in first(found):
        made.text(line)
    made.heading(f"What each group of parts adds, {units.torque}")
    rows = [["the typical build", *(f"{v:.0f}" for v in factor * found.typical)]]
    rows += [[name, *(f"{v:+.1f}" for v in factor * found.parts[name])] for name in order]
    rows.append(["this build", *(f"{v:.0f}" for v in factor * found.torque)])
    made.table(["rpm", *(f"{speed:.0f}" for speed in found.rpm)], rows)
    made.heading("Nearest sheets")
    made.table(["sheet", "distance", "what differs most (here / there)"], near(found))
    for line in notes(found):
        made.text(line)
    customer_sheet.builds(made, [sheet], units)
    return customer_sheet.close(made, manifest)
