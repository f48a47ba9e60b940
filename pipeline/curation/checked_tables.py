"""Judged sheets as tables: what many processes hand over, and what lies in the cache."""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.checks.duplicates import digest
from pullbook.pipeline.checks.pull_rules import curves
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.physics.reference_condition import route
from pullbook.schemas.fields import CURATED_FIELDS, FIELDS
from pullbook.schemas.findings import doubt

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from pullbook.pipeline.values.sheet import Sheet

#: Readings that a rule took out of the curve.
_LEFT_OUT = frozenset({"spike", "dropout"})
_FINDING = ("code", "severity", "field", "row", "value", "message")


_OF_SHEET = ("source", "content", "route")
_NUMBERS = ("factor", "factor_sd", "doubt_sd")


class Columns:
    """Judged sheets, column by column; cheap to make and to hand to another process.

    Attributes
    ----------
    sheets
        For each sheet its source, whether it was accepted, a digest of its content and, of
        accepted ones, fields and route: a list a column.
    sheet, pull, rpm, torque
        Number of the sheet, pull, rev/min and lb-ft at the reference condition of every reading of
        accepted sheets.
    findings
        Number of the sheet, file, then the finding.
    """

    def __init__(self) -> None:
        self.sheets: dict[str, list[Any]] = {
            name: [] for name in (*CURATED_FIELDS, *_OF_SHEET, *_NUMBERS, "accepted")
        }
        self.sheet, self.pull = array("q"), array("q")
        self.rpm, self.torque = array("d"), array("d")
        self.findings: list[tuple[Any, ...]] = []

    def __len__(self) -> int:
        return len(self.sheets["accepted"])

    def add(self, sheet: Sheet, source: str) -> None:
        """Add a judged sheet; ``source`` is what it was read from."""
        number = len(self)
        accepted = sheet.accepted
        self.findings += [(number, sheet.source, *f.as_json().values()) for f in sheet.findings]
        row: dict[str, Any] = {"source": source, "content": digest(sheet), "accepted": accepted}
        if accepted:
            way = route(sheet.values)
            row |= sheet.values
            row |= {"route": way.name, "factor": way.factor, "factor_sd": way.sd}
            row["doubt_sd"] = doubt(sheet.findings)
            self._add_readings(sheet, number, way.factor)
        row |= {"sheet_id": sheet.sheet_id, "shop": sheet.values.get("shop")}
        for name, column in self.sheets.items():
            column.append(row.get(name))

    def _add_readings(self, sheet: Sheet, number: int, factor: float) -> None:
        left_out = {f.row for f in sheet.findings if f.code in _LEFT_OUT}
        for curve in curves(sheet):
            for rpm, torque, reading in curve:
                if reading.row not in left_out:
                    self.sheet.append(number)
                    self.pull.append(reading.pull)
                    self.rpm.append(rpm)
                    self.torque.append(torque * factor)


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
    import numpy as np  # noqa: PLC0415 - not for a look at one sheet
    import pandas as pd  # noqa: PLC0415

    types = {name: FIELDS[name].dtype for name in CURATED_FIELDS}
    types |= dict.fromkeys(_OF_SHEET, "str") | dict.fromkeys(_NUMBERS, "float64")
    types["accepted"] = "bool"
    sheets = pd.DataFrame(
        {name: pd.Series(column, dtype=types[name]) for name, column in columns.sheets.items()}
    )
    readings = pd.DataFrame(
        {
            "sheet": np.array(columns.sheet, dtype=np.int64),
            "pull": np.array(columns.pull, dtype=np.int64),
            "rpm": np.array(columns.rpm, dtype=float),
            "torque": np.array(columns.torque, dtype=float),
        }
    )
    readings["power"] = readings["torque"] * readings["rpm"] / TORQUE_POWER_CONSTANT
    findings = pd.DataFrame(columns.findings, columns=["sheet", "source", *_FINDING])
    texts = dict.fromkeys(("source", "code", "severity", "field", "value", "message"), "str")
    return Judged(sheets, readings, findings.astype({"sheet": "int64", "row": "Int64", **texts}))


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
