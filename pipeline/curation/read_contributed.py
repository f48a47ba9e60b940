"""Read and check contributed sheets: the work of one process, without data frames.

Worker processes start by importing this module, so it imports nothing slow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.curation.checked_tables import Columns
from pullbook.pipeline.parallel.garbage_collection import uncollected
from pullbook.pipeline.privacy import anonymise
from pullbook.pipeline.reading import find_sheets, parse_sheet
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Sheet


def check_contributed(sheet: Sheet) -> Sheet:
    """Check a contributed sheet against every rule, and that its shop is a code."""
    check_sheet.judge(sheet, check_sheet.CONTRIBUTION_RULES)
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
            for raw in find_sheets.source(source):
                columns.add(check_contributed(parse_sheet.typed(raw)), str(source))
    return columns
