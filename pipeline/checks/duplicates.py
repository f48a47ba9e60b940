"""Check sheets against each other before they are contributed: same names, and copies."""

from __future__ import annotations

import marshal
from hashlib import blake2b
from typing import TYPE_CHECKING

from pullbook.pipeline.checks.pull_rules import curves
from pullbook.pipeline.physics.reference_condition import route
from pullbook.pipeline.values.headings import squash
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.pipeline.values.sheet import Sheet


def judge(sheets: Sequence[Sheet]) -> None:
    """Add the findings that need a look at the other sheets."""
    if len(sheets) < 2:
        return
    _check_names(sheets)
    accepted = [sheet for sheet in sheets if sheet.accepted and curves(sheet)]
    if len(accepted) > 1:
        _check_copies(accepted)


def _check_names(sheets: Sequence[Sheet]) -> None:
    """Refuse different sheets of one shop with the same name: only the shop knows which counts."""
    named: dict[tuple[str, str], list[Sheet]] = {}
    for sheet in sheets:
        shop = squash(str(sheet.values.get("shop", "")))
        named.setdefault((shop, sheet.sheet_id), []).append(sheet)
    for (_, name), own in named.items():
        if len(own) < 2 or len({digest(sheet) for sheet in own}) == 1:
            continue
        places = ", ".join(dict.fromkeys(sheet.source for sheet in own))
        for sheet in own:
            if all(finding.code != "repeated-field" for finding in sheet.findings):
                message = (
                    f"{len(own)} different sheets have the sheet ID {name!r} ({places})."
                    " Give each its own."
                )
                row = sheet.rows.get("sheet_id")
                sheet.findings.append(Finding("repeated-field", message, "sheet_id", row, name))


def _check_copies(sheets: Sequence[Sheet]) -> None:
    import numpy as np  # noqa: PLC0415 - only where there are several sheets

    from pullbook.pipeline.checks import similar_sheets  # noqa: PLC0415

    names = [sheet.sheet_id for sheet in sheets]
    size = [sheet.displacement or 0.0 for sheet in sheets]
    rows = [
        (place, rpm, torque * route(sheet.values).factor)
        for place, sheet in enumerate(sheets)
        for rpm, torque, _ in curves(sheet)[0]
    ]
    table = np.array(rows, dtype=float)
    found = similar_sheets.copies(
        np.array(size, dtype=float), table[:, 0].astype(np.int64), table[:, 1], table[:, 2]
    )
    for place, finding in similar_sheets.report_copies(found, names):
        sheets[place].findings.append(finding)


def digest(sheet: Sheet) -> str:
    """Return a digest of a sheet's values and readings, without their row numbers."""
    content = (sorted(sheet.values.items()), [reading[1:] for reading in sheet.readings])
    # Version 2 of the format has no references, so equal content gives equal bytes.
    return blake2b(marshal.dumps(content, 2), digest_size=16).hexdigest()
