"""Checked sheets as tables: what processes pass to each other, and what the cache stores."""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.checks.duplicates import digest
from pullbook.pipeline.checks.pull_rules import curves
from pullbook.pipeline.checks.shop_barometers import said_by
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.physics.reference_condition import route
from pullbook.schemas.fields import CURATED_FIELDS, FIELDS
from pullbook.schemas.findings import doubt

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from pullbook.pipeline.values.sheet import Sheet

#: Findings whose readings are left out of the curve.
_LEFT_OUT = frozenset({"spike", "dropout"})
_FINDING = ("code", "severity", "field", "row", "value", "message")


_OF_SHEET = ("source", "content", "route", "twin")
_NUMBERS = ("factor", "factor_sd", "doubt_sd", "station")
_COUNT = "count"


class Columns:
    """Checked sheets, column by column; cheap to make and to send to another process.

    Attributes
    ----------
    sheets
        One list per column, one entry per sheet: source, whether it was accepted, a digest of its
        content and, if accepted, its fields, its route to the reference condition and the station
        pressure, inHg, that it shows.
    sheet, pull, rpm, torque
        For every reading of an accepted sheet: number of the sheet, number of the pull, rev/min,
        and lb-ft at the reference condition.
    findings
        Number of the sheet, file, then the finding.
    """

    def __init__(self) -> None:
        self.sheets: dict[str, list[Any]] = {
            name: [] for name in (*CURATED_FIELDS, *_OF_SHEET, *_NUMBERS, _COUNT, "accepted")
        }
        self.sheet, self.pull = array("q"), array("q")
        self.rpm, self.torque = array("d"), array("d")
        self.findings: list[tuple[Any, ...]] = []

    def __len__(self) -> int:
        return len(self.sheets["accepted"])

    def add(self, sheet: Sheet, source: str, count: int, twin: str = "") -> None:
        """Add a checked sheet.

        Parameters
        ----------
        sheet, source
            The sheet, and the path it was read from.
        count
            Its signer's count of it; 0 without one.
        twin
            Code of the shop and name that an own sheet was contributed under; empty if not known.

        """
        number = len(self)
        accepted = sheet.accepted
        self.findings += [(number, sheet.source, *f.as_json().values()) for f in sheet.findings]
        row: dict[str, Any] = {
            "source": source, "content": digest(sheet), "accepted": accepted,
            _COUNT: count, "twin": twin,
        }  # fmt: skip
        if accepted:
            taken = route(sheet.values)
            row |= sheet.values
            row |= {"route": taken.name, "factor": taken.factor, "factor_sd": taken.sd}
            row["doubt_sd"] = doubt(sheet.findings)
            row["station"] = said_by(sheet)
            self._add_readings(sheet, number, taken.factor)
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
class CheckedTables:
    """Checked sheets as data frames.

    Attributes
    ----------
    sheets
        One row per sheet; the columns of curated builds are missing for refused sheets.
    readings
        ``sheet`` (the row of the sheet in ``sheets``), ``pull``, ``rpm``, ``torque`` and ``power``.
    findings
        ``sheet``, then the columns of curated findings except ``sheet_id``.
    """

    sheets: pd.DataFrame
    readings: pd.DataFrame
    findings: pd.DataFrame

    def take(self, places: NDArray[np.int64]) -> CheckedTables:
        """Return the sheets at some places, in that order, with their readings and findings."""
        import numpy as np  # noqa: PLC0415 - not needed to check a few sheets

        new = np.full(len(self.sheets), -1, dtype=np.int64)
        new[places] = np.arange(len(places))

        def renumber(table: pd.DataFrame) -> pd.DataFrame:
            moved = table.assign(sheet=new[table["sheet"].to_numpy()])
            moved = moved[moved["sheet"] >= 0]
            return moved.sort_values("sheet", kind="stable", ignore_index=True)

        sheets = self.sheets.iloc[places].reset_index(drop=True)
        return CheckedTables(sheets, renumber(self.readings), renumber(self.findings))


def frames_of(columns: Columns) -> CheckedTables:
    """Return checked sheets as data frames with the types of the curated tables."""
    import numpy as np  # noqa: PLC0415 - not needed to check a few sheets
    import pandas as pd  # noqa: PLC0415

    types = {name: FIELDS[name].dtype for name in CURATED_FIELDS}
    types |= dict.fromkeys(_OF_SHEET, "str") | dict.fromkeys(_NUMBERS, "float64")
    types |= {"accepted": "bool", _COUNT: "int64"}
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
    return CheckedTables(
        sheets, readings, findings.astype({"sheet": "int64", "row": "Int64", **texts})
    )


def join(parts: Iterable[CheckedTables]) -> CheckedTables:
    """Join several tables of checked sheets, in order."""
    import pandas as pd  # noqa: PLC0415

    sheets, readings, findings = [], [], []
    before = 0
    for part in parts:
        sheets.append(part.sheets)
        readings.append(part.readings.assign(sheet=part.readings["sheet"] + before))
        findings.append(part.findings.assign(sheet=part.findings["sheet"] + before))
        before += len(part.sheets)
    return CheckedTables(
        *(pd.concat(tables, ignore_index=True) for tables in (sheets, readings, findings))
    )
