"""A sheet on its way through the pipeline: first as text, then with typed values."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.physics.engine_quantities import (
    DISPLACEMENT,
    SIZE_FIELDS,
    bore_of,
    displacement,
    stroke_of,
)
from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.headings import PLAIN
from pullbook.pipeline.vocabulary.units import UnknownUnitError, WrongUnitError, scale, tidy
from pullbook.schemas.fields import FIELDS, PULL_FIELDS
from pullbook.schemas.findings import refused

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pullbook.pipeline.values.settled import Settled
    from pullbook.pipeline.vocabulary.headings import Headings
    from pullbook.schemas.field import Value
    from pullbook.schemas.findings import Finding


@dataclass(slots=True)
class Cell:
    """The cell of one field, as written.

    Attributes
    ----------
    text
        The text of the cell.
    row
        The row in the file, counted from 1.
    unit
        The unit in its heading, if any.
    from_settings
        Whether the text is from the shop's settings file.
    """

    text: str
    row: int
    unit: str | None = None
    from_settings: bool = False


@dataclass(slots=True)
class RawSheet:
    """A sheet as read: texts, and the findings made while reading.

    Attributes
    ----------
    sheet_id
        The sheet's own name, or the stem of its file.
    source
        The path of the file, as given.
    fields
        Cells by field name.
    table
        Row number in the file (from 1) and cells of every row of the table that is not blank:
        headings, pulls and any text around them. ``None`` for a build without a pull.
    headings
        The headings that are understood.
    findings
        The findings made while reading.
    files
        All files it was read from.
    signature
        The fields of a contributed sheet's signature, as written.
    text
        The whole text of a contributed sheet's file, to check the signature; else empty.
    units
        Unit of a column of the pull that names none, by column, from the shop's settings.
    private_words
        Words that are never shared, from the shop's settings.
    ignored
        Squashed headings of columns to leave out without a word, from the shop's settings.
    one_build
        Whether its runs are of one build whatever tells them apart, from the shop's settings.
    usual_barometer
        Usual station pressure of the shop, inHg, by its other sheets, once they are read.
    """

    sheet_id: str
    source: str
    fields: dict[str, Cell] = field(default_factory=dict)
    table: list[tuple[int, list[str]]] | None = None
    headings: Headings = PLAIN
    findings: list[Finding] = field(default_factory=list)
    files: tuple[Path, ...] = ()
    signature: dict[str, str] = field(default_factory=dict)
    text: str = ""
    units: Mapping[str, str] = field(default_factory=dict)
    private_words: tuple[str, ...] = ()
    ignored: frozenset[str] = frozenset()
    one_build: bool = False
    usual_barometer: float | None = None


class Reading(NamedTuple):
    """One reading of a pull: rpm, torque in lb-ft, power in hp, and its row in the file."""

    row: int
    pull: int
    rpm: float
    torque: float | None
    power: float | None


#: The fields that hold the signature of a contributed sheet: public key, count and signature.
SIGNATURE_FIELDS = ("signer_key", "signer_count", "signer_signature")

#: Engine speed, torque in lb-ft and the reading itself, in order of rising speed.
Curve = list[tuple[float, float, Reading]]


@dataclass(slots=True, kw_only=True)
class Build:
    """A typed build: values in the units of the field dictionary, and what follows from them.

    Attributes
    ----------
    sheet_id, source
        As for `RawSheet`.
    values
        The value of every field that is given, by field name.
    findings
        All findings so far.
    rows
        The row of each field in the file, for the findings of later checks.
    bare
        The fields whose number was written without a unit.
    cells
        The cells of the fields as written, for messages in the sheet's own units.
    settled
        How the meaning of fields, and of the columns of the pull, was settled.
    derived
        The fields of `values` that were not given but worked out: one of bore, stroke and
        displacement, from the other two.
    """

    sheet_id: str
    source: str
    values: dict[str, Value]
    findings: list[Finding] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    bare: frozenset[str] = frozenset()
    cells: Mapping[str, Cell] = field(default_factory=dict)
    settled: Mapping[str, Settled] = field(default_factory=dict)
    derived: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        """Work out the third of bore, stroke and displacement, anew if parts were changed."""
        given = self.given
        third = _third_of_size(given)
        self.values = {**given, **third}
        self.derived = frozenset(third)

    @property
    def given(self) -> dict[str, Value]:
        """The values that are written on the sheet, without those that were worked out."""
        return {name: value for name, value in self.values.items() if name not in self.derived}

    def complete_size(self, other: Build) -> tuple[str, ...]:
        """Take the size of the engine from another build of it, as far as it is not given.

        >>> short = Build(sheet_id="a", source="a.yaml", values={"stroke": 3.75})
        >>> six = {"cylinders": 6, "bore": 3.9, "stroke": 3.6}
        >>> short.complete_size(Build(sheet_id="b", source="b.csv", values=six))
        ('cylinders', 'bore')
        >>> short.displacement == displacement(3.9, 3.75, 6)
        True
        """
        names: tuple[str, ...] = ("cylinders",) if self.number("cylinders") is None else ()
        if self.number(DISPLACEMENT) is None:
            names += tuple(name for name in SIZE_FIELDS[:2] if self.number(name) is None)
        if any(other.number(name) is None for name in names):
            names = (*(name for name in names if name not in SIZE_FIELDS[:2]), DISPLACEMENT)
        taken = {name: other.values[name] for name in names if other.values.get(name) is not None}
        self.values |= taken
        self.__post_init__()
        return tuple(taken)

    @property
    def accepted(self) -> bool:
        """Whether no finding refuses it."""
        return not refused(self.findings)

    @property
    def fault(self) -> Finding | None:
        """The first finding that refuses it, or ``None``."""
        return next((found for found in self.findings if refused([found])), None)

    @property
    def displacement(self) -> float | None:
        """Displacement, in3; ``None`` where a field that it needs is missing."""
        bore, stroke, cylinders = (self.number(name) for name in SIZE_FIELDS)
        if bore is None or stroke is None or cylinders is None:
            return self.number(DISPLACEMENT)
        return float(displacement(bore, stroke, cylinders))

    @property
    def metric(self) -> bool:
        """Whether bore or stroke is written in a metric unit."""
        return any(self.unit(name) in _METRIC for name in SIZE_FIELDS[:2])

    def unit(self, name: str) -> str:
        """Return the unit that a field is written in on the sheet."""
        own, cell = FIELDS[name].unit, self.cells.get(name)
        if cell is None:
            return own
        found = numerals.read(cell.text.strip(), None)
        rest = "" if found is None else found.rest.strip()
        return tidy(rest or cell.unit or own, own)

    def shown(self, name: str, number: float, digits: int = 4) -> str:
        """Return a number, in the unit of the field dictionary, in the unit it was written in.

        >>> cells = {"bore": Cell("101.6 mm", 3)}
        >>> Build(sheet_id="a", source="a.csv", values={}, cells=cells).shown("bore", 4.0)
        '101.6 mm'
        """
        own = FIELDS[name].unit
        here, unit = _in_unit(number, self.unit(name), own)
        return f"{float(f'{here:.{digits}g}'):.10g} {unit}".rstrip()

    def number(self, name: str) -> float | None:
        """Return the number in a field, or ``None`` if there is none."""
        value = self.values.get(name)
        return float(value) if isinstance(value, int | float) else None


@dataclass(slots=True, kw_only=True)
class Sheet(Build):
    """A typed sheet: a build, and what it made.

    Attributes
    ----------
    readings
        The rows of the pull that could be read.
    columns
        The columns of the pull, each with the unit in its heading.
    curves
        The pulls as curves, once `pipeline.checks.pull_rules` has made them.
    signature, text
        As for `RawSheet`.
    """

    readings: list[Reading] = field(default_factory=list)
    columns: Mapping[str, str | None] = field(default_factory=dict)
    curves: list[Curve] | None = None
    signature: Mapping[str, str] = field(default_factory=dict)
    text: str = ""

    def read(self, name: str, number: float, decimals: int = 0) -> str:
        """Return a torque or a power, in lb-ft or hp, in the unit of its column."""
        own = PULL_FIELDS[name].unit
        if name in self.columns:
            unit = tidy(self.columns[name] or own, own)
        else:  # worked out from the other column
            unit = {"torque": "N.m", "power": "kW"}[name] if self.metric else own
        here, unit = _in_unit(number, unit, own)
        return f"{here:.{decimals}f} {unit}"


def _third_of_size(values: Mapping[str, Value]) -> dict[str, Value]:
    """Return the one of bore, stroke and displacement that follows from the other two."""
    bore, stroke, cylinders, volume = (
        float(value) if isinstance(value := values.get(name), int | float) and value > 0 else None
        for name in (*SIZE_FIELDS, DISPLACEMENT)
    )
    if cylinders is None:
        return {}
    if bore is not None and stroke is not None:
        made = float(displacement(bore, stroke, cylinders))
        return {} if volume is not None else {DISPLACEMENT: made}
    if volume is None:
        return {}
    if bore is not None:
        return {"stroke": float(stroke_of(volume, bore, cylinders))}
    return {"bore": float(bore_of(volume, stroke, cylinders))} if stroke is not None else {}


#: Units of length that make a sheet metric.
_METRIC = ("mm", "cm", "m")


def _in_unit(number: float, unit: str, own: str) -> tuple[float, str]:
    """Return a number in another unit than its own, or in its own if that is not a known one."""
    try:
        slope, offset = scale(unit, own)
    except (UnknownUnitError, WrongUnitError):
        return number, own
    return (number - offset) / slope, unit
