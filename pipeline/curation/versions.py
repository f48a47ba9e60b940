"""Which sheets count: what their shop signed last, what it handed over, and what it withdrew."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.pipeline.physics.engine_quantities import size_of
from pullbook.pipeline.privacy.withdraw import named
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pullbook.pipeline.curation.checked_tables import CheckedTables
    from pullbook.pipeline.privacy.hand_over import HandOvers
    from pullbook.pipeline.privacy.withdraw import Withdrawal


def follow(ways: HandOvers, checked: CheckedTables) -> None:
    """Give the sheets of shops that were handed over their new code, in place.

    What an old key signed after the hand-over is refused.
    """
    if not ways.by_old:
        return
    sheets = checked.sheets
    codes, counts = sheets["shop"].astype("str").tolist(), sheets["count"].tolist()
    accepted = sheets["accepted"].tolist()
    for place, (code, count) in enumerate(zip(list(codes), list(counts), strict=True)):
        if ways.came_after(code, count):
            message = (
                "The sheet was signed with an old key of the shop after the shop was handed over to"
                " a new one."
            )
            add_finding(checked, place, Finding("signed-after-hand-over", message, "shop"))
            accepted[place] = False
        codes[place], counts[place] = ways.code(code), ways.count(code, count)
    checked.sheets = sheets.assign(shop=codes, count=counts, accepted=accepted).astype(
        sheets.dtypes
    )


def add_finding(checked: CheckedTables, place: int, finding: Finding) -> None:
    """Add a finding to a sheet, in place."""
    row = {"sheet": place, "source": checked.sheets["source"].iloc[place], **finding.as_json()}
    more = pd.DataFrame([row]).astype(checked.findings.dtypes)
    table = pd.concat([checked.findings, more], ignore_index=True)
    checked.findings = table.sort_values("sheet", kind="stable", ignore_index=True)


def without_withdrawn(
    checked: CheckedTables, requests: Sequence[Withdrawal], ways: HandOvers
) -> CheckedTables:
    """Leave out what shops withdrew; a request counts as that of the shop's latest key."""
    if not requests:
        return checked
    sheets = checked.sheets
    gone = named(sheets["shop"], sheets["sheet_id"], requests, sheets["count"], ways)
    return checked.take(np.flatnonzero(~gone))


def find_latest(
    sheets: pd.DataFrame, accepted: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], list[tuple[int, Finding]]]:
    """Return the places of the latest sheet of each shop and name, sorted by name.

    The latest is the one that its shop signed last. So the order, and with it the model, does not
    depend on the order of the files or on the codes. Earlier sheets with other content get a
    finding. Where versions of one sheet are of engines of another size, or two were signed with one
    count, none is kept: they are taken out of ``accepted``.
    """
    own = sheets.loc[accepted, ["sheet_id", "shop", "content", "count"]]
    own = own.sort_values("count", kind="stable")
    groups = own.groupby(["shop", "sheet_id"], sort=False)
    last = groups["content"].transform("last")
    is_last = ~own.duplicated(["shop", "sheet_id"], keep="last")
    changed = groups["content"].transform("nunique") > 1
    findings: list[tuple[int, Finding]] = []
    for _, versions in own[changed].groupby(["shop", "sheet_id"], sort=False):
        fault = _fault_of_versions(sheets.loc[versions.index])
        if fault is not None:
            accepted[versions.index] = False
            findings += [(int(place), fault) for place in versions.index]
    earlier = own[~is_last & (own["content"] != last) & accepted[own.index]]
    findings += [
        (
            int(place),
            Finding(
                "same-sheet-again",
                f"The same shop signed a later sheet {name!r}, which replaced this one.",
                "sheet_id",
            ),
        )
        for place, name in zip(earlier.index.tolist(), earlier["sheet_id"].tolist(), strict=True)
    ]
    kept = own[is_last & accepted[own.index]].sort_values(["sheet_id", "shop"])
    return kept.index.to_numpy(dtype=np.int64), findings


def _fault_of_versions(versions: pd.DataFrame) -> Finding | None:
    """Return why none of the versions of one sheet can be kept; ``None`` if the latest can."""
    name = versions["sheet_id"].iloc[0]
    size = np.asarray(size_of(versions).engine)
    bore = versions["bore"].to_numpy(dtype=float)
    far = max(_spread(bore), _spread(np.where(np.isnan(bore), size, np.nan)))
    if len(set(versions["cylinders"].tolist())) > 1 or far > _SAME_ENGINE:
        message = (
            f"The shop has sheets {name!r} of engines with other cylinders or another bore, so none"
            " of them is kept. Give each its own sheet ID."
        )
        return Finding("same-id-other-engine", message, "sheet_id", None, name)
    top = versions["count"] == versions["count"].max()
    several = len(set(versions.loc[top, "content"].tolist())) > 1
    if several and not versions["count"].any():
        message = f"Different sheets have the sheet ID {name!r}. Give each its own."
        return Finding("repeated-field", message, "sheet_id", None, name)
    if several:
        message = (
            f"Two different sheets {name!r} carry the same signing number, so none of them is kept:"
            " the shop's key is in use in two places. Ask the shop to restore it from its backup"
            " and to contribute the sheet again."
        )
        return Finding("count-used-twice", message, "sheet_id", None, name)
    return None


#: Versions of one sheet whose bores differ by more than this share are not of one engine.
_SAME_ENGINE = 0.02


def _spread(values: NDArray[np.float64]) -> float:
    """Return by which share the largest is above the smallest; 0 without two values."""
    known = values[~np.isnan(values)]
    return float(known.max() / known.min() - 1) if len(known) > 1 else 0.0
