"""Judged sheets as tables: what many processes hand over, and what lies in the cache."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import TYPE_CHECKING, Any

from pipeline.rules.pulls import torque_of
from pipeline.units import TORQUE_POWER_CONSTANT
from pipeline.weather import route
from schemas.findings import doubt

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from pipeline.sheet import Sheet

#: Readings that a rule took out of the curve.
_LEFT_OUT = frozenset({"spike", "dropout"})
_FINDING = ("code", "severity", "field", "row", "value", "message")


@dataclass(slots=True)
class Columns:
    """Judged sheets, column by column; cheap to make and to hand to another process.

    Attributes
    ----------
    sheets
        For each sheet its source, whether it was accepted, a digest of its content and, of
        accepted ones, values and route.
    readings
        Number of the sheet, pull, rpm and torque (lb-ft at the reference condition) of every
        reading of accepted sheets.
    findings
        Number of the sheet, then the finding.
    """

    sheets: list[dict[str, Any]] = field(default_factory=list)
    readings: list[tuple[int, int, float, float]] = field(default_factory=list)
    findings: list[tuple[Any, ...]] = field(default_factory=list)

    def add(self, sheet: Sheet, source: str) -> None:
        """Add a judged sheet; ``source`` is what it was read from."""
        number = len(self.sheets)
        row: dict[str, Any] = {
            "source": source,
            "sheet_id": sheet.sheet_id,
            "accepted": sheet.accepted,
            "content": digest(sheet),
        }
        self.findings += [(number, sheet.source, *f.as_json().values()) for f in sheet.findings]
        if sheet.accepted:
            way = route(sheet.values)
            row = {
                **sheet.values,
                **row,
                "route": way.name,
                "factor": way.factor,
                "factor_sd": way.sd,
                "doubt_sd": doubt(sheet.findings),
            }
            left_out = {f.row for f in sheet.findings if f.code in _LEFT_OUT}
            for place, pull, rpm, torque, power in sorted(
                sheet.readings, key=lambda reading: reading[1:3]
            ):
                read = torque_of(torque, power, rpm)
                if read is not None and place not in left_out:
                    self.readings.append((number, pull, rpm, read * way.factor))
        self.sheets.append(row)


def digest(sheet: Sheet) -> str:
    """Return a digest of what a sheet says, whatever its rows are numbered."""
    said = (sorted(sheet.values.items(), key=str), [reading[1:] for reading in sheet.readings])
    return blake2b(repr(said).encode(), digest_size=16).hexdigest()


@dataclass(slots=True)
class Judged:
    """Judged sheets as frames.

    Attributes
    ----------
    sheets
        A row a sheet; the columns of curated builds hold nothing for refused ones.
    readings
        ``sheet`` (the sheet's place), ``pull``, ``rpm``, ``torque`` and ``power``.
    findings
        ``sheet``, then the columns of curated findings but ``sheet_id``.
    """

    sheets: pd.DataFrame
    readings: pd.DataFrame
    findings: pd.DataFrame

    def take(self, places: NDArray[np.int64]) -> Judged:
        """Return some of the sheets, in the order of their places."""
        import numpy as np  # noqa: PLC0415 - not for a look at one sheet

        new = np.full(len(self.sheets), -1, dtype=np.int64)
        new[places] = np.arange(len(places))

        def of(table: pd.DataFrame) -> pd.DataFrame:
            moved = table.assign(sheet=new[table["sheet"].to_numpy()])
            moved = moved[moved["sheet"] >= 0]
            return moved.sort_values("sheet", kind="stable", ignore_index=True)

        sheets = self.sheets.iloc[places].reset_index(drop=True)
        return Judged(sheets, of(self.readings), of(self.findings))


def frames_of(columns: Columns) -> Judged:
    """Return judged sheets as frames with the types of the curated tables."""
    import pandas as pd  # noqa: PLC0415

    from pipeline.build_table import fields_of  # noqa: PLC0415

    data = fields_of(columns.sheets)
    for name in ("source", "content", "route"):
        data[name] = pd.Series([row.get(name) for row in columns.sheets], dtype="str")
    for name in ("factor", "factor_sd", "doubt_sd"):
        data[name] = pd.Series([row.get(name) for row in columns.sheets], dtype="float64")
    data["accepted"] = pd.Series([row["accepted"] for row in columns.sheets], dtype="bool")
    readings = pd.DataFrame(columns.readings, columns=["sheet", "pull", "rpm", "torque"]).astype(
        {"sheet": "int64", "pull": "int64", "rpm": "float64", "torque": "float64"}
    )
    readings["power"] = readings["torque"] * readings["rpm"] / TORQUE_POWER_CONSTANT
    findings = pd.DataFrame(columns.findings, columns=["sheet", "source", *_FINDING])
    texts = dict.fromkeys(("source", "code", "severity", "field", "value", "message"), "str")
    findings = findings.astype({"sheet": "int64", "row": "Int64", **texts})
    return Judged(pd.DataFrame(data), readings, findings)


def joined(parts: Iterable[Judged]) -> Judged:
    """Return the sheets of several, in order."""
    import pandas as pd  # noqa: PLC0415

    sheets, readings, findings = [], [], []
    before = 0
    for part in parts:
        sheets.append(part.sheets)
        readings.append(part.readings.assign(sheet=part.readings["sheet"] + before))
        findings.append(part.findings.assign(sheet=part.findings["sheet"] + before))
        before += len(part.sheets)
    return Judged(
        *(pd.concat(tables, ignore_index=True) for tables in (sheets, readings, findings))
    )
