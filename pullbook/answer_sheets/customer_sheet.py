"""The parts that all answer sheets share: chart, builds, source and cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.charts import svg_frame, svg_writer
from pullbook.reports.document import Page
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS
from pullbook.text import prediction_text
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.answer_sheets.letterhead import Letterhead
    from pullbook.drawings.chart import Chart
    from pullbook.pipeline.values.sheet import Build
    from pullbook.words.units import Units


def begin(
    title: str,
    chart: Chart,
    alt: str,
    units: Units,
    manifest: Mapping[str, Any],
    head: Letterhead | None = None,
) -> Page:
    """Return a page with its condition and its chart.

    Parameters
    ----------
    title
        What it is about.
    chart
        Describes the chart; its caption says what its lines are.
    alt
        Says what the chart shows.
    units
        Units to write in.
    manifest
        The bundle's description of itself; if its engines are invented, the page says so first.
    head
        Who it is from and for.

    """
    page = Page(title)
    if head is not None and head.given:
        page.head(head.shop, head.customer, head.date, head.logo)
    if manifest.get("invented"):
        page.text(prediction_text.INVENTED)
    page.text(units.condition)
    wide, narrow = (
        svg_writer.svg(chart, shape).encode() for shape in (svg_frame.WIDE, svg_frame.NARROW)
    )
    page.picture("answer.svg", wide, alt, narrow, f"{figures.sentence(chart.caption)}.")
    return page


#: Durations that are at a lift.
_AT_LIFT = ("intake_duration", "exhaust_duration")


def builds(page: Page, sheets: Sequence[Build], units: Units) -> None:
    """Add the fields of the builds, one row for each field that any of them gives."""
    page.heading("The build" if len(sheets) == 1 else "The builds")
    rows = [
        [FIELDS[name].label, *(_given(sheet, name, units) for sheet in sheets)]
        for name in BUILD_FIELDS
        if any(name in sheet.values for sheet in sheets)
    ]
    if page.one_sheet:
        page.facts([(figures.sentence(name), what) for name, what in rows])
    else:
        page.table(["field", *(sheet.sheet_id for sheet in sheets)], rows)
    if any(name in sheet.values for sheet in sheets for name in _AT_LIFT):
        lift = "1.27 mm" if units.metric else "0.050 in"
        page.text(f"Durations are at {lift} of lift at the lifter, unless advertised.")


def _given(sheet: Build, name: str, units: Units) -> str:
    return units.field(name, sheet.values[name]) if name in sheet.values else "not given"


def close(page: Page, manifest: Mapping[str, Any]) -> Page:
    """Add the source and the cautions, and return the page."""
    page.heading("Source")
    page.text(prediction_text.source(manifest))
    page.heading("Caution")
    page.text(prediction_text.CAUTION)
    return page
