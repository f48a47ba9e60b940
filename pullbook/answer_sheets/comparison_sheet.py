"""A comparison of builds as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.comparison_text import (
    assumed,
    comparable,
    crossings,
    curve,
    doubts,
    headings,
    means,
    notes,
    rows,
    verdict,
)
from pullbook.words import figures, share_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.drawings.chart import Chart
    from pullbook.model.comparison.compare_several import Comparison
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.words.units import Units


def page(
    found: Comparison,
    chart: Chart,
    sheets: Sequence[Build],
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a comparison."""
    verdicts = [verdict(one, "BCD"[at]) for at, one in enumerate(found.differences)]
    made = customer_sheet.begin(" and ".join(found.names), chart, chart.alt, units, manifest)
    for text in (assumed(found), *comparable(found), *doubts(found)):
        made.text(text)
    first = found.differences[0]
    made.heading(f"Means {figures.over(first.over, first.band)}")
    made.table(headings(found, units), rows(found, units))
    for letter, one, line in zip("BCD", found.differences, verdicts, strict=False):
        percent = f"{figures.level(one.level)} limits"
        made.heading(f"{one.names[0]} (A) minus {one.names[1]}")
        for text in (line, *means(one, letter, units), *crossings(one)):
            made.text(text)
        made.table(
            ["rpm", f"difference, {units.torque}", percent],
            [row[:3] for row in curve(one, units) if row[1]],
        )
    if found.shares is not None:
        percent = f"{figures.level(found.shares.level)} limits"
        made.heading(share_words.title(found))
        made.table(["what", f"share, {units.torque}", percent], share_words.rows(found, units))
        for text in share_words.meaning(found):
            made.text(text)
    for text in notes(found)[:1]:
        made.text(text)
    customer_sheet.builds(made, sheets, units)
    return customer_sheet.close(made, manifest)
