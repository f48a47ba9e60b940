"""Reading and judging contributed sheets: what one process does, without a data frame.

Processes that share the work start with this module, so it imports nothing slow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline import anonymise, checks, parse, read
from pipeline.judged import Columns
from pipeline.uncollected import uncollected
from schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pipeline.sheet import Sheet


def judged(sheet: Sheet) -> Sheet:
    """Judge a sheet that was contributed: every rule, and no shop named in clear."""
    checks.judge(sheet, checks.CONTRIBUTION_RULES)
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
            for raw in read.source(source):
                columns.add(judged(parse.typed(raw)), str(source))
    return columns
