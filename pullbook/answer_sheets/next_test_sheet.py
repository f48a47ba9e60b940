"""Which engine to test next, as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.next_test_text import HEADINGS, explained, rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.drawings.chart import Chart
    from pullbook.model.answers.next_test import Lesson
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.words.units import Units


def page(
    found: Sequence[Lesson],
    candidates: Sequence[Build],
    questions: Sequence[Build],
    chart: Chart,
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of which engine to test next."""
    made = customer_sheet.begin("Which engine to test next", chart, chart.alt, units, manifest)
    made.heading("Result")
    made.text(explained(units))
    made.table(HEADINGS, rows(found, candidates, questions))
    customer_sheet.builds(made, [candidates[one.candidate] for one in found[:4]], units)
    return customer_sheet.close(made, manifest)
