"""Read and check contributed sheets: the work of one process, without data frames.

Worker processes start by importing this module, so it imports nothing slow.
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


def check_contributed(sheet: Sheet) -> Sheet:
    """Refuse a contributed sheet whose shop is a name, not a code."""
    shop = sheet.values.get("shop")
    if shop is not None and not anonymise.is_code(shop):
        message = "The shop is a name, not a code. Run the sheet through pullbook contribute."
        sheet.findings.append(Finding("shop-in-clear", message, "shop"))
    return sheet


def columns_of(sources: Sequence[Path]) -> Columns:
    """Read and check the sheets of some sources: the work of one process."""
    columns = Columns()
    with uncollected():  # garbage collection would take a fifth of the time
        for source in sources:
            for _, sheet in checked_sheets.of_source(source, check_sheet.CONTRIBUTION_RULES):
                columns.add(check_contributed(sheet), str(source))
    return columns
