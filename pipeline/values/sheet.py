"""A sheet on its way through the pipeline: as text, and typed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.values.headings import PLAIN
from pullbook.schemas.findings import refused

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.pipeline.values.headings import Headings
    from pullbook.schemas.fields import Value
    from pullbook.schemas.findings import Finding


@dataclass(slots=True)
class Cell:
    """One field of a sheet as written.

    Attributes
    ----------
    text
        What stands there.
    row
        The row as a person counts it in the file, from 1.
    unit
        The unit its heading names, if any.
    """

    text: str
    row: int
    unit: str | None = None


@dataclass(slots=True)
class RawSheet:
    """A sheet as read: text, with what was found while reading it.

    Attributes
    ----------
    sheet_id
        The name it goes by: its own, or its file's stem.
    source
        The file, as it was named.
    fields
        Cells by field name.
    table
        Number in the file, from 1, and cells of every row of its table that is not blank: the
        headings, the pulls and what stands around them. ``None`` for a build alone.
    headings
        What its headings mean.
    findings
        What was found on the way.
    files
        Everything it was read from.
    """

    sheet_id: str
    source: str
    fields: dict[str, Cell] = field(default_factory=dict)
    table: list[tuple[int, list[str]]] | None = None
    headings: Headings = PLAIN
    findings: list[Finding] = field(default_factory=list)
    files: tuple[Path, ...] = ()


class Reading(NamedTuple):
    """One row of a pull: lb-ft, hp and rpm, with the row it stands in."""

    row: int
    pull: int
    rpm: float
    torque: float | None
    power: float | None


#: Engine speed, torque in lb-ft and the reading itself, by rising speed.
Curve = list[tuple[float, float, Reading]]


@dataclass(slots=True)
class Sheet:
    """A typed sheet: values in the units of the field dictionary.

    Attributes
    ----------
    sheet_id, source
        As for `RawSheet`.
    values
        The value of every field that the sheet gives, by field name.
    readings
        The rows of the pull that could be read.
    findings
        Everything found so far.
    rows
        The row of each field in the file, for findings of later checks.
    bare
        The fields whose number named no unit.
    curves
        The pulls as curves, once `pullbook.pipeline.checks.pull_rules` has made them.
    """

    sheet_id: str
    source: str
    values: dict[str, Value]
    readings: list[Reading]
    findings: list[Finding]
    rows: dict[str, int]
    bare: frozenset[str] = frozenset()
    curves: list[Curve] | None = None

    @property
    def accepted(self) -> bool:
        """Whether nothing found refuses the sheet."""
        return not refused(self.findings)

    def number(self, name: str) -> float | None:
        """Return the number in a field, or ``None`` where the sheet has none."""
        value = self.values.get(name)
        return float(value) if isinstance(value, int | float) else None
