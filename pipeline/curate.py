"""Curating: accepted sheets to one comparable data set at the reference condition."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from pipeline import anonymise, checks, parse, read
from pipeline.contribute import ACCEPTED
from pipeline.rules.pulls import torque_of
from pipeline.units import TORQUE_POWER_CONSTANT
from pipeline.weather import route
from schemas import frames
from schemas.fields import FIELDS
from schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from pipeline.sheet import Sheet

BUILDS, PULLS, FINDINGS = "builds.parquet", "pulls.parquet", "findings.parquet"
_SHOP_CHARS = 8


@dataclass(slots=True)
class Curated:
    """A curated data set.

    Attributes
    ----------
    builds
        A row a sheet: its fields, and how its torque came to the reference condition (``route``,
        ``factor`` and ``factor_sd``, the relative standard deviation that the route adds).
    pulls
        A row a reading: ``sheet_id``, ``pull``, ``rpm``, ``torque`` in lb-ft and ``power`` in hp
        at the flywheel under the reference condition.
    findings
        A row a finding, those of refused sheets too.
    refused
        How many sheets were refused.
    replaced
        How many were accepted and replaced by a later sheet of the same shop and name.
    """

    builds: pd.DataFrame
    pulls: pd.DataFrame
    findings: pd.DataFrame
    refused: int
    replaced: int

    def write(self, folder: Path) -> None:
        """Write the three tables into a folder, made if need be."""
        folder.mkdir(parents=True, exist_ok=True)
        self.builds.to_parquet(folder / BUILDS, index=False)
        self.pulls.to_parquet(folder / PULLS, index=False)
        self.findings.to_parquet(folder / FINDINGS, index=False)


class NotCuratedError(OSError):
    """A folder that holds no curated data set, or one that breaks its schema."""


def load(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return builds and pulls of a curated folder.

    Raises
    ------
    NotCuratedError
        The tables are not there, or not what curating writes.

    """
    from pandera.errors import SchemaError, SchemaErrors  # noqa: PLC0415 - slow to import
    from pyarrow import ArrowException  # noqa: PLC0415 - slow to import

    try:
        builds = pd.read_parquet(folder / BUILDS)
        pulls = pd.read_parquet(folder / PULLS)
        frames.builds_schema().validate(builds, lazy=True)
        frames.pulls_schema().validate(pulls, lazy=True)
    except (OSError, ArrowException) as fault:
        msg = f"{folder} holds no curated data set; make one with: pullbook curate"
        raise NotCuratedError(msg) from fault
    except (SchemaError, SchemaErrors) as fault:
        msg = f"{folder} is not as curating writes it; curate again"
        raise NotCuratedError(msg) from fault
    return builds, pulls


def curate(
    folders: Iterable[Path], track: Callable[[Iterable[Sheet]], Iterable[Sheet]] = iter
) -> Curated:
    """Bring the accepted sheets of contributions into one data set.

    Parameters
    ----------
    folders
        Contributions: folders with ``accepted`` in them, or folders of accepted sheets.
    track
        Wraps the loop over sheets to show progress.

    Raises
    ------
    NothingToReadError
        A folder holds no sheets.
    NotCuratedError
        No sheet was fit for the data set.

    """
    places = [path / ACCEPTED if (path / ACCEPTED).is_dir() else path for path in folders]
    raws = read.sheets(places)
    seen = [_judged(sheet) for sheet in track(parse.typed(raw) for raw in raws)]
    accepted = _latest([sheet for sheet in seen if sheet.accepted])
    if not accepted:
        msg = "no sheet was fit for the data set; see: pullbook check"
        raise NotCuratedError(msg)
    _name_apart(accepted)
    curated = Curated(
        builds=_builds(accepted),
        pulls=_pulls(accepted),
        findings=_findings(seen),
        refused=sum(not sheet.accepted for sheet in seen),
        replaced=sum(sheet.accepted for sheet in seen) - len(accepted),
    )
    frames.builds_schema().validate(curated.builds)
    frames.pulls_schema().validate(curated.pulls)
    frames.findings_schema().validate(curated.findings)
    return curated


def _judged(sheet: Sheet) -> Sheet:
    checks.judge(sheet, checks.CONTRIBUTION_RULES)
    shop = sheet.values.get("shop")
    if shop is not None and not anonymise.is_code(shop):
        message = "the shop's name stands in clear; run the sheet through: pullbook contribute"
        sheet.findings.append(Finding("shop-in-clear", message, "shop"))
    return sheet


def _latest(sheets: list[Sheet]) -> list[Sheet]:
    """Keep the last sheet of each shop and name, sorted by name.

    The order, and so the model, does not hang on how the files lie or what the codes are.
    """
    latest: dict[tuple[object, str], Sheet] = {}
    for sheet in sheets:
        name = (sheet.values["shop"], sheet.sheet_id)
        if name in latest and _content(latest[name]) != _content(sheet):
            message = f"a later sheet named {sheet.sheet_id!r} of the same shop replaced this one"
            latest[name].findings.append(Finding("same-sheet-again", message, "sheet_id"))
        latest[name] = sheet
    return [latest[name] for name in sorted(latest, key=lambda name: (name[1], str(name[0])))]


def _content(sheet: Sheet) -> tuple[object, object]:
    return sheet.values, [(r.pull, r.rpm, r.torque, r.power) for r in sheet.readings]


def _name_apart(sheets: list[Sheet]) -> None:
    """Tell sheets of different shops apart that go by the same name."""
    counts = Counter(sheet.sheet_id for sheet in sheets)
    for sheet in sheets:
        if counts[sheet.sheet_id] > 1:
            sheet.sheet_id = f"{sheet.sheet_id}@{str(sheet.values['shop'])[:_SHOP_CHARS]}"


def typed_builds(sheets: list[Sheet]) -> pd.DataFrame:
    """Return the fields of sheets as a typed table, a row a sheet, in the order given."""
    columns = {}
    for name in frames.CURATED_FIELDS:
        column: list[Any] = [sheet.values.get(name) for sheet in sheets]
        columns[name] = pd.Series(column, dtype=frames.dtype(FIELDS[name]))
    table = pd.DataFrame(columns)
    table["sheet_id"] = pd.array([sheet.sheet_id for sheet in sheets], dtype="str")
    table["aspiration"] = table["aspiration"].fillna("natural")
    return table


def _builds(sheets: list[Sheet]) -> pd.DataFrame:
    table = typed_builds(sheets)
    routes = [route(sheet.values) for sheet in sheets]
    table["route"] = pd.array([r.name for r in routes], dtype="str")
    table["factor"] = [r.factor for r in routes]
    table["factor_sd"] = [r.sd for r in routes]
    return table


def _pulls(sheets: list[Sheet]) -> pd.DataFrame:
    rows = []
    for sheet in sheets:
        factor = route(sheet.values).factor
        for r in sorted(sheet.readings, key=lambda reading: (reading.pull, reading.rpm)):
            torque = torque_of(r.torque, r.power, r.rpm)
            if torque is not None:
                rows.append((sheet.sheet_id, r.pull, r.rpm, torque * factor))
    table = pd.DataFrame(rows, columns=["sheet_id", "pull", "rpm", "torque"])
    table["sheet_id"] = table["sheet_id"].astype("str")
    table["power"] = table["torque"] * table["rpm"] / TORQUE_POWER_CONSTANT
    return table


def _findings(sheets: list[Sheet]) -> pd.DataFrame:
    def rows() -> Iterator[dict[str, object]]:
        for sheet in sheets:
            for finding in sheet.findings:
                yield {
                    "sheet_id": sheet.sheet_id,
                    "source": sheet.source,
                    **finding.as_json(),
                }

    names = list(frames.findings_schema().columns)
    table = pd.DataFrame(list(rows()), columns=names)
    for name in names:
        table[name] = table[name].astype("Int64" if name == "row" else "str")
    return table
