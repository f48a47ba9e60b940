"""Curate: bring accepted sheets to the reference condition, in one data set."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.pipeline.checks import similar_sheets
from pullbook.pipeline.curation import shop_consensus
from pullbook.pipeline.curation.checked_tables import Columns, frames_of, join
from pullbook.pipeline.curation.data_set import Curated, NotCuratedError
from pullbook.pipeline.curation.gather import Cache, gather
from pullbook.pipeline.curation.read_own import is_signed_folder
from pullbook.pipeline.curation.versions import find_latest, follow, without_withdrawn
from pullbook.pipeline.parallel.workers import Processes
from pullbook.pipeline.physics.engine_quantities import size_of
from pullbook.pipeline.privacy import hand_over
from pullbook.pipeline.privacy.refused_sheets import ACCEPTED, refusals
from pullbook.pipeline.privacy.withdraw import applied_to, is_withdrawn_refusal
from pullbook.pipeline.reading import find_sheets
from pullbook.pipeline.storage import plain_text
from pullbook.schemas import curated_tables
from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from pullbook.pipeline.curation.checked_tables import CheckedTables
    from pullbook.pipeline.curation.gather import Track
    from pullbook.pipeline.curation.read_own import OwnReader
    from pullbook.pipeline.parallel.workers import Crew

_SHOP_CHARS = 8
ALONE = Processes(1)


def curate(
    folders: Iterable[Path],
    workers: Crew = ALONE,
    cache: Path | None = None,
    track: Track = iter,
    own: OwnReader | None = None,
) -> Curated:
    """Bring the accepted sheets of contributions into one data set.

    What a shop withdrew, by a request that lies in a contribution, is left out of all of them.
    With ``own``, folders of a shop's own sheets are read as well; the result is private then.

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
    own
        Reads folders that are no contributions as the shop's own; ``None`` refuses what is in them.

    Raises
    ------
    NothingToReadError
        A folder has no sheets.
    NotCuratedError
        No sheet was accepted.

    """
    folders = list(folders)
    contributed = [folder for folder in folders if own is None or _is_contribution(folder)]
    checked = _gather_contributed(contributed, workers, cache, track)
    if own is not None:
        others = [folder for folder in folders if folder not in contributed]
        sources = find_sheets.find(others).sources if others else []
        checked = _without_copies(join([checked, _gather_own(sources, workers, track, own)]))
    ways = hand_over.of_folders(folders)
    follow(ways, checked)
    requests = [one for folder in folders for one in applied_to(folder)[0]]
    before = len(checked.sheets)
    checked = without_withdrawn(checked, requests, ways)
    accepted = checked.sheets["accepted"].to_numpy(copy=True)
    latest, findings = find_latest(checked.sheets, accepted)
    checked.sheets["accepted"] = accepted
    if not len(latest):
        msg = "no sheet was accepted; to see why, run: pullbook check"
        raise NotCuratedError(msg)
    curated = _make_curated(checked, latest, findings)
    curated.withdrawn = before - len(checked.sheets)
    curated.stopped = ways.stopped
    refused = [found for folder in folders for found in refusals(folder)]
    _add_refusals(
        curated,
        [
            one
            for one in refused
            if not is_withdrawn_refusal(Path(one[1]).name.split("-")[0], requests)
        ],
    )
    curated_tables.builds_schema().validate(curated.builds)
    curated_tables.pulls_schema().validate(curated.pulls)
    curated_tables.findings_schema().validate(curated.findings)
    return curated


def _is_contribution(folder: Path) -> bool:
    return (folder / ACCEPTED).is_dir() or is_signed_folder(folder)


def _gather_contributed(
    folders: list[Path], workers: Crew, cache: Path | None, track: Track
) -> CheckedTables:
    places = [path / ACCEPTED if (path / ACCEPTED).is_dir() else path for path in folders]
    places = [path for path in places if path.name != ACCEPTED or any(path.iterdir())]
    if not places:  # all of it was withdrawn
        return frames_of(Columns())
    sources = find_sheets.find(places).sources
    store = Cache.of(cache, places) if cache is not None else None
    return gather(sources, workers, store, track)


def _gather_own(
    sources: list[Path], workers: Crew, track: Track, reader: OwnReader
) -> CheckedTables:
    """Read own sheets, and again those whose barometer the other sheets of their shop settle."""
    mine = gather(sources, workers, None, track, reader)
    knowing, helped = reader.knowing(mine)
    again = [source for source in sources if plain_text.one_line(str(source)) in helped]
    if not again:
        return mine
    others = mine.take(np.flatnonzero(~mine.sheets["source"].isin(helped).to_numpy()))
    both = join([others, gather(again, workers, None, iter, knowing)])
    order = [plain_text.one_line(str(source)) for source in sources]
    places = pd.Categorical(both.sheets["source"], categories=order).codes
    return both.take(np.argsort(places, kind="stable"))


def _without_copies(checked: CheckedTables) -> CheckedTables:
    """Leave out contributed copies of own sheets, and give their shop's other sheets its own code.

    Own sheets tell which they are, with the contributor's key.
    """
    sheets = checked.sheets
    twins = sheets["twin"].fillna("")
    own = twins[twins != ""]
    signers = [twin.partition(" ")[0] for twin in own.tolist()]
    code = dict(zip(signers, sheets.loc[own.index, "shop"].tolist(), strict=True))
    copies = (sheets["shop"] + " " + sheets["sheet_id"]).isin(set(own)) & (twins == "")
    sheets["shop"] = sheets["shop"].map(lambda shop: code.get(shop, shop)).astype("str")
    return checked.take(np.flatnonzero(~copies.to_numpy(dtype=bool)))


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


def _make_curated(
    checked: CheckedTables, latest: NDArray[np.int64], findings: list[tuple[int, Finding]]
) -> Curated:
    kept = checked.take(latest)
    names = _make_names_unique(kept.sheets)
    builds = kept.sheets.drop(columns=["source", "accepted", "count", "twin", "station"])
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
        stopped=[],
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
