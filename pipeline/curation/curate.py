"""Curating: accepted sheets to one comparable data set at the reference condition."""

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
from pullbook.schemas.codes import CODES
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from pullbook.pipeline.curation.checked_tables import Judged
    from pullbook.pipeline.curation.gather import Track
    from pullbook.pipeline.parallel.workers import Crew
    from pullbook.pipeline.privacy.withdraw import Withdrawn

_SHOP_CHARS = 8
ALONE = Processes(1)


def curate(
    folders: Iterable[Path],
    crew: Crew = ALONE,
    cache: Path | None = None,
    track: Track = iter,
    withdrawn: Sequence[Withdrawn] = (),
) -> Curated:
    """Bring the accepted sheets of contributions into one data set.

    Parameters
    ----------
    folders
        Contributions: folders with ``accepted`` in them, or folders of accepted sheets.
    crew
        Whoever reads and judges sheets; this process alone unless told otherwise.
    cache
        A folder for what was judged before; sources that did not change are not read again.
    track
        Wraps the loop over lots of sheets to show progress.
    withdrawn
        What contributors asked back: it is left out as if it had never come.

    Raises
    ------
    NothingToReadError
        A folder holds no sheets.
    NotCuratedError
        No sheet was fit for the data set.

    """
    folders = list(folders)
    places = [path / ACCEPTED if (path / ACCEPTED).is_dir() else path for path in folders]
    sources = find_sheets.find(places).sources
    judged = gather(sources, crew, Cache.of(cache, places) if cache is not None else None, track)
    before, all_sheets = len(judged.sheets), judged.sheets[["shop", "sheet_id"]]
    if withdrawn:
        asked_back = named(judged.sheets["shop"], judged.sheets["sheet_id"], withdrawn)
        judged = judged.take(np.flatnonzero(~asked_back))
    accepted = judged.sheets["accepted"].to_numpy()
    latest, findings = _latest(judged.sheets, accepted)
    if not len(latest):
        msg = "no sheet was fit for the data set; see: pullbook check"
        raise NotCuratedError(msg)
    curated = _curated(judged, latest, findings)
    curated.withdrawn = before - len(judged.sheets)
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


def _latest(
    sheets: pd.DataFrame, accepted: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], list[tuple[int, Finding]]]:
    """Return the places of the last sheet of each shop and name, sorted by name.

    The order, and so the model, does not hang on how the files lie or what the codes are. Earlier
    sheets that said something else get a finding.
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
                f"a later sheet named {name!r} of the same shop replaced this one",
                "sheet_id",
            ),
        )
        for place, name in zip(earlier.index.tolist(), earlier["sheet_id"].tolist(), strict=True)
    ]
    kept = own[is_last].sort_values(["sheet_id", "shop"])
    return kept.index.to_numpy(dtype=np.int64), findings


def _curated(
    judged: Judged, latest: NDArray[np.int64], findings: list[tuple[int, Finding]]
) -> Curated:
    kept = judged.take(latest)
    names = _names_apart(kept.sheets)
    builds = kept.sheets.drop(columns=["source", "accepted"])
    builds["sheet_id"] = names
    builds["aspiration"] = builds["aspiration"].fillna("natural")
    pulls = kept.readings.drop(columns="sheet")
    pulls.insert(0, "sheet_id", names.iloc[kept.readings["sheet"].to_numpy()].to_numpy())
    pulls["sheet_id"] = pulls["sheet_id"].astype("str")
    told = _told_by_others(kept, builds, pulls)
    findings = findings + [(int(latest[place]), finding) for place, finding in told]
    return Curated(
        builds=builds,
        pulls=pulls,
        findings=_findings(judged, latest, names, findings),
        refused=int((~judged.sheets["accepted"]).sum()),
        refused_before=0,
        replaced=int(judged.sheets["accepted"].sum()) - len(latest),
        withdrawn=0,
        not_found=[],
    )


def _told_by_others(
    kept: Judged, builds: pd.DataFrame, pulls: pd.DataFrame
) -> list[tuple[int, Finding]]:
    """Judge sheets by one another; what is found weighs on their builds, in place."""
    size = np.asarray(size_of(builds).engine)
    readings = kept.readings
    first = readings["pull"] == readings.groupby("sheet")["pull"].transform("min")
    one = readings[first]
    copies = similar_sheets.copies(
        size, one["sheet"].to_numpy(), one["rpm"].to_numpy(), one["torque"].to_numpy()
    )
    told = similar_sheets.report_copies(copies, builds["sheet_id"].tolist())
    told += similar_sheets.report_barometers(builds)
    told += shop_consensus.told(shop_consensus.readings_of_shops(builds, pulls), builds)
    doubt = builds["doubt_sd"].to_numpy(dtype=float) ** 2
    for place, finding in told:
        doubt[place] += CODES[finding.code].sd ** 2
    builds["doubt_sd"] = np.sqrt(doubt)
    builds["copies"] = copies.counts
    return told


def _names_apart(sheets: pd.DataFrame) -> pd.Series:
    """Return names under which sheets of different shops that go by one name stay apart."""
    names: pd.Series = sheets["sheet_id"]
    apart = names + "@" + sheets["shop"].str[:_SHOP_CHARS]
    return names.where(~names.duplicated(keep=False), apart)


def _findings(
    judged: Judged,
    latest: NDArray[np.int64],
    names: pd.Series,
    more: list[tuple[int, Finding]],
) -> pd.DataFrame:
    """Return the findings of all sheets, each under the name its sheet goes by."""
    own = judged.sheets["sheet_id"].copy()
    own.iloc[latest] = names.to_numpy()
    rows = [
        {"sheet": place, "source": judged.sheets["source"].iloc[place], **finding.as_json()}
        for place, finding in more
    ]
    table = judged.findings
    if rows:
        table = pd.concat([table, pd.DataFrame(rows).astype(table.dtypes)], ignore_index=True)
        table = table.sort_values("sheet", kind="stable", ignore_index=True)
    table.insert(0, "sheet_id", own.iloc[table["sheet"].to_numpy()].to_numpy())
    table["sheet_id"] = table["sheet_id"].astype("str")
    return table.drop(columns="sheet")
