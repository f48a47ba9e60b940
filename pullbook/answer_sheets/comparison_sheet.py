"""A comparison of builds as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.comparison_text import (
    SHARES,
    assumed,
    comparable,
    crossings,
    doubts,
    headings,
    means,
    notes,
    rows,
    share_rows,
    share_title,
    verdict,
)
from pullbook.words import figures

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
    band = found.differences[0].band
    made.heading(f"Means from {band[0]:.0f} to {band[1]:.0f} rpm")
    made.table(headings(found, units), rows(found, units))
    for letter, one, line in zip("BCD", found.differences, verdicts, strict=False):
        percent = f"{figures.level(one.level)} limits"
        made.heading(f"{one.names[0]} (A) minus {one.names[1]}")
        for text in (line, *means(one, letter, units), *crossings(one)):
            made.text(text)
        shown = [units.between(point, "lb-ft") for point in one.curve]
        made.table(["rpm", f"difference, {units.torque}", percent], [
            [f"{rpm:.0f}", figures.difference(point.value), figures.difference_limits(point)]
            for rpm, point, known in zip(one.rpm.tolist(), shown, one.supported, strict=True)
            if known
        ])  # fmt: skip
    if found.shares is not None:
        percent = f"{figures.level(found.shares.level)} limits"
        made.heading(share_title(found))
        made.table(["what", f"share, {units.torque}", percent], share_rows(found, units))
        made.text(SHARES)
    for text in notes(found)[:1]:
        made.text(text)
    customer_sheet.builds(made, sheets, units)
    return customer_sheet.close(made, manifest)
