"""Check sheets against each other: names, copies, engines that changed, barometers."""

from __future__ import annotations

import marshal
from dataclasses import replace
from hashlib import blake2b
from typing import TYPE_CHECKING

from pullbook.pipeline.checks.pull_rules import curves
from pullbook.pipeline.physics.reference_condition import route
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.pipeline.values.sheet import Sheet


def judge(sheets: Sequence[Sheet]) -> None:
    """Add the findings that need a look at the other sheets."""
    if len(sheets) < 2:
        return
    _check_names(sheets)
    _check_engines(sheets)
    _check_barometers(sheets)
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
        sources = list(dict.fromkeys(sheet.source for sheet in own))
        more = f" and {len(sources) - _NAMED} more" if len(sources) > _NAMED else ""
        places = ", ".join(sources[:_NAMED]) + more
        for sheet in own:
            if all(finding.code != "repeated-field" for finding in sheet.findings):
                message = (
                    f"{len(own)} different sheets have the sheet ID {name!r} ({places})."
                    " Give each its own."
                )
                row = sheet.rows.get("sheet_id")
                sheet.findings.append(Finding("repeated-field", message, "sheet_id", row, name))


def _check_engines(sheets: Sequence[Sheet]) -> None:
    """Say where sheets of one engine differ in bore or cylinders: a rebuild, or a mistake."""
    named: dict[tuple[str, str], list[Sheet]] = {}
    for sheet in sheets:
        if sheet.accepted and (engine := sheet.values.get("engine")) is not None:
            shop = squash(str(sheet.values.get("shop", "")))
            named.setdefault((shop, squash(str(engine))), []).append(sheet)
    for own in named.values():
        for field in ("cylinders", "bore"):
            _check_same(own, field)


def _check_same(sheets: list[Sheet], field: str) -> None:
    known = [(sheet, number) for sheet in sheets if (number := sheet.number(field)) is not None]
    if not known:
        return
    first, usual = known[0]
    for sheet, number in known[1:]:
        if abs(number / usual - 1) > _SAME_BORE:
            what = "it was bored over" if field == "bore" else "parts of two engines are mixed up"
            message = (
                f"Engine {sheet.values['engine']!r} has a {FIELDS[field].label} of"
                f" {sheet.shown(field, number)} here and {first.shown(field, usual)} on sheet"
                f" {first.sheet_id!r}: {what}, or one of them is a mistake."
            )
            row = sheet.rows.get(field)
            code = "engine-rebuilt" if field == "bore" else "engine-differs"
            sheet.findings.append(Finding(code, message, field, row, f"{number:g}"))


def _check_barometers(sheets: Sequence[Sheet]) -> None:
    """Say where a barometer is far above the others of the shop; see `similar_sheets`."""
    read = [sheet for sheet in sheets if sheet.number("barometer") is not None]
    if len(read) < _FEWEST_BAROMETERS:
        return
    import pandas as pd  # noqa: PLC0415 - only where there are several sheets

    from pullbook.pipeline.checks import similar_sheets  # noqa: PLC0415

    table = pd.DataFrame(
        {"shop": [squash(str(sheet.values.get("shop", ""))) for sheet in read],
         "barometer": [sheet.number("barometer") for sheet in read]}
    )  # fmt: skip
    for place, finding in similar_sheets.report_barometers(table):
        row = read[place].rows.get("barometer")
        read[place].findings.append(replace(finding, row=row))


#: Most files that a message names.
_NAMED = 6
#: Bores of one engine that differ by more than this share are not one measured twice.
_SAME_BORE = 0.001
_FEWEST_BAROMETERS = 4


def _check_copies(sheets: Sequence[Sheet]) -> None:
    import numpy as np  # noqa: PLC0415 - only where there are several sheets

    from pullbook.pipeline.checks import similar_sheets  # noqa: PLC0415

    names = [sheet.sheet_id for sheet in sheets]
    size = [sheet.displacement or 0.0 for sheet in sheets]
    factors = [route(sheet.values).factor for sheet in sheets]
    rows = [
        (place, rpm, torque * factors[place])
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
