"""Curate: bring accepted sheets to the reference condition, in one data set."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.pipeline.checks import similar_sheets
from pullbook.pipeline.curation import shop_consensus
from pullbook.pipeline.curation.data_set import Curated, NotCuratedError
from pullbook.pipeline.curation.gather import Cache, gather
from pullbook.pipeline.parallel.workers import Processes
from pullbook.pipeline.physics.engine_quantities import size_of
from pullbook.pipeline.privacy.refused_sheets import ACCEPTED, refusals
from pullbook.pipeline.privacy.withdraw import is_named, named
from pullbook.pipeline.reading import find_sheets
from pullbook.schemas import curated_tables
from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from pullbook.pipeline.curation.checked_tables import CheckedTables
    from pullbook.pipeline.curation.gather import Track
    from pullbook.pipeline.parallel.workers import Crew
    from pullbook.pipeline.privacy.withdraw import Withdrawn

_SHOP_CHARS = 8
ALONE = Processes(1)


def curate(
    folders: Iterable[Path],
    workers: Crew = ALONE,
    cache: Path | None = None,
    track: Track = iter,
    withdrawn: Sequence[Withdrawn] = (),
) -> Curated:
    """Bring the accepted sheets of contributions into one data set.

    Parameters
    ----------
    folders
        Contributions: folders with an ``accepted`` folder in them, or folders of accepted sheets.
    workers
        Workers that read and check the sheets; by default this process alone.
    cache
        A folder to keep checked sheets in; sources that did not change are not read again.
    track
        Wraps the loop over lots of sheets to show progress.
    withdrawn
        Withdrawn sheets; they are left out.

    Raises
    ------
    NothingToReadError
        A folder has no sheets.
    NotCuratedError
        No sheet was accepted.

    """
    folders = list(folders)
    places = [path / ACCEPTED if (path / ACCEPTED).is_dir() else path for path in folders]
    sources = find_sheets.find(places).sources
    store = Cache.of(cache, places) if cache is not None else None
    checked = gather(sources, workers, store, track)
    before, all_sheets = len(checked.sheets), checked.sheets[["shop", "sheet_id"]]
    if withdrawn:
        left_out = named(checked.sheets["shop"], checked.sheets["sheet_id"], withdrawn)
        checked = checked.take(np.flatnonzero(~left_out))
    accepted = checked.sheets["accepted"].to_numpy()
    latest, findings = _find_latest(checked.sheets, accepted)
    if not len(latest):
        msg = "no sheet was accepted; to see why, run: pullbook check"
        raise NotCuratedError(msg)
    curated = _make_curated(checked, latest, findings)
    curated.withdrawn = before - len(checked.sheets)
    refused = [found for folder in folders for found in refusals(folder)]
    of_shop = [Path(source).name.split("-")[0] for _, source, _ in refused]
    _add_refusals(
        curated,
        [
            one
            for one, shop in zip(refused, of_shop, strict=True)
            if not is_named(shop, one[0], withdrawn)
        ],
    )
    curated.not_found = [
        one
        for one in withdrawn
        if not named(all_sheets["shop"], all_sheets["sheet_id"], [one]).any()
        and not any(is_named(shop, of[0], [one]) for of, shop in zip(refused, of_shop, strict=True))
    ]
    curated_tables.builds_schema().validate(curated.builds)
    curated_tables.pulls_schema().validate(curated.pulls)
    curated_tables.findings_schema().validate(curated.findings)
    return curated


def _add_refusals(curated: Curated, refused: list[tuple[str, str, list[dict[str, Any]]]]) -> None:
    rows = [
        {"sheet_id": name, "source": source, **finding}
        for name, source, findings in refused
        for finding in findings
        if finding.get("code") in CODES
    ]
    curated.refused_before = len(refused)
    if rows:
        table = curated.findings
        more = pd.DataFrame(rows, columns=list(table.columns)).astype(table.dtypes)
        curated.findings = pd.concat([table, more], ignore_index=True)


def _find_latest(
    sheets: pd.DataFrame, accepted: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], list[tuple[int, Finding]]]:
    """Return the places of the last sheet of each shop and name, sorted by name.

    So the order, and with it the model, does not depend on the order of the files or on the codes.
    Earlier sheets with other content get a finding.
    """
    own = sheets.loc[accepted, ["sheet_id", "shop", "content"]]
    groups = own.groupby(["shop", "sheet_id"], sort=False)
    last = groups["content"].transform("last")
    is_last = ~own.duplicated(["shop", "sheet_id"], keep="last")
    earlier = own[~is_last & (own["content"] != last)]
    findings = [
        (
            place,
            Finding(
                "same-sheet-again",
                f"A later sheet {name!r} of the same shop replaced this one.",
                "sheet_id",
            ),
        )
        for place, name in zip(earlier.index.tolist(), earlier["sheet_id"].tolist(), strict=True)
    ]
    kept = own[is_last].sort_values(["sheet_id", "shop"])
    return kept.index.to_numpy(dtype=np.int64), findings


def _make_curated(
    checked: CheckedTables, latest: NDArray[np.int64], findings: list[tuple[int, Finding]]
) -> Curated:
    kept = checked.take(latest)
    names = _make_names_unique(kept.sheets)
    builds = kept.sheets.drop(columns=["source", "accepted"])
    builds["sheet_id"] = names
    builds["aspiration"] = builds["aspiration"].fillna("natural")
    pulls = kept.readings.drop(columns="sheet")
    pulls.insert(0, "sheet_id", names.iloc[kept.readings["sheet"].to_numpy()].to_numpy())
    pulls["sheet_id"] = pulls["sheet_id"].astype("str")
    of_comparison = _compare_sheets(kept, builds, pulls)
    findings = findings + [(int(latest[place]), finding) for place, finding in of_comparison]
    return Curated(
        builds=builds,
        pulls=pulls,
        findings=_make_findings(checked, latest, names, findings),
        refused=int((~checked.sheets["accepted"]).sum()),
        refused_before=0,
        replaced=int(checked.sheets["accepted"].sum()) - len(latest),
        withdrawn=0,
        not_found=[],
    )


def _compare_sheets(
    kept: CheckedTables, builds: pd.DataFrame, pulls: pd.DataFrame
) -> list[tuple[int, Finding]]:
    """Compare sheets with each other; return findings and set their weights in ``builds``."""
    size = np.asarray(size_of(builds).engine)
    readings = kept.readings
    first = readings["pull"] == readings.groupby("sheet")["pull"].transform("min")
    one = readings[first]
    copies = similar_sheets.copies(
        size, one["sheet"].to_numpy(), one["rpm"].to_numpy(), one["torque"].to_numpy()
    )
    findings = similar_sheets.report_copies(copies, builds["sheet_id"].tolist())
    findings += similar_sheets.report_barometers(builds)
    findings += shop_consensus.report_shops(shop_consensus.readings_of_shops(builds, pulls), builds)
    variance = builds["doubt_sd"].to_numpy(dtype=float) ** 2
    for place, finding in findings:
        variance[place] += CODES[finding.code].sd ** 2
    builds["doubt_sd"] = np.sqrt(variance)
    builds["copies"] = copies.counts
    return findings


def _make_names_unique(sheets: pd.DataFrame) -> pd.Series:
    """Return the names of sheets, with the shop added where two shops use the same name."""
    names: pd.Series = sheets["sheet_id"]
    with_shop = names + "@" + sheets["shop"].str[:_SHOP_CHARS]
    return names.where(~names.duplicated(keep=False), with_shop)


def _make_findings(
    checked: CheckedTables,
    latest: NDArray[np.int64],
    names: pd.Series,
    more: list[tuple[int, Finding]],
) -> pd.DataFrame:
    """Return the findings of all sheets, with the names of the curated sheets."""
    own = checked.sheets["sheet_id"].copy()
    own.iloc[latest] = names.to_numpy()
    rows = [
        {"sheet": place, "source": checked.sheets["source"].iloc[place], **finding.as_json()}
        for place, finding in more
    ]
    table = checked.findings
    if rows:
        table = pd.concat([table, pd.DataFrame(rows).astype(table.dtypes)], ignore_index=True)
        table = table.sort_values("sheet", kind="stable", ignore_index=True)
    table.insert(0, "sheet_id", own.iloc[table["sheet"].to_numpy()].to_numpy())
    table["sheet_id"] = table["sheet_id"].astype("str")
    return table.drop(columns="sheet")
