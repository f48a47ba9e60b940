"""Read and check contributed sheets: the work of one process, without data frames.

Worker processes start by importing this module, so it imports nothing slow.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.curation.checked_tables import Columns
from pullbook.pipeline.parallel.garbage_collection import uncollected
from pullbook.pipeline.privacy import contributed_sheet, signatures
from pullbook.pipeline.storage.plain_text import one_line
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Sheet


def check_contributed(sheet: Sheet) -> int:
    """Refuse a sheet that its shop did not sign, and return the signer's count of it.

    A sheet that is not signed, one whose shop is not its signer and one that was altered since are
    all refused, each with its own finding.
    """
    signature = signatures.of_fields(sheet.signature)
    if signature is None:
        message = (
            "The sheet is not signed by its shop. Run the original through pullbook contribute with"
            " the shop's key; bring-over does it for sheets contributed before there were"
            " signatures, and curate --own takes a folder of your own sheets."
        )
        sheet.findings.append(Finding("unsigned", message, "shop"))
        return 0
    if sheet.values.get("shop") != signature.code:
        message = (
            "The sheet carries the code of one shop and the signature of another. Ask the shop to"
            " contribute it itself."
        )
        sheet.findings.append(Finding("not-the-signers-code", message, "shop"))
    elif not contributed_sheet.is_signed(sheet, signature):
        message = (
            "The sheet was altered after its shop signed it, or the signature is forged. Ask the"
            " shop to send it again."
        )
        sheet.findings.append(Finding("altered", message))
    elif sheet.values.get("correction_route") is None:
        message = "The sheet is not at the reference condition. Run it through pullbook contribute."
        sheet.findings.append(Finding("not-contributed", message, "correction"))
    return signature.count


def columns_of(sources: Sequence[Path]) -> Columns:
    """Read and check the sheets of some sources: the work of one process."""
    columns = Columns()
    with uncollected():  # garbage collection would take a fifth of the time
        for source in sources:
            for _, sheet in checked_sheets.of_source(source, check_sheet.CONTRIBUTION_RULES):
                columns.add(sheet, one_line(str(source)), check_contributed(sheet))
    return columns
