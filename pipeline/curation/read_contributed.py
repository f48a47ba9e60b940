"""Reading and judging contributed sheets: what one process does, without a data frame.

Processes that share the work start with this module, so it imports nothing slow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.curation.checked_tables import Columns
from pullbook.pipeline.parallel.garbage_collection import uncollected
from pullbook.pipeline.privacy import anonymise
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Sheet


def judged(sheet: Sheet) -> Sheet:
    """Refuse a contributed sheet that names its shop in clear."""
    shop = sheet.values.get("shop")
    if shop is not None and not anonymise.is_code(shop):
        message = "the shop's name stands in clear; run the sheet through: pullbook contribute"
        sheet.findings.append(Finding("shop-in-clear", message, "shop"))
    return sheet


def columns_of(sources: Sequence[Path]) -> Columns:
    """Read and judge the sheets of some sources: what one process does."""
    columns = Columns()
    with uncollected():  # looking for cycles would cost a fifth of the time
        for source in sources:
            for _, sheet in checked_sheets.of_source(source, check_sheet.CONTRIBUTION_RULES):
                columns.add(judged(sheet), str(source))
    return columns
