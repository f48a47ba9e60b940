"""Parse the texts of a sheet into typed values; every fault becomes a finding."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT, SIZE_FIELDS
from pullbook.pipeline.physics.reference_condition import station_pressure
from pullbook.pipeline.reading.parse_pull import OfSheet, ParsedPull, parse_pull
from pullbook.pipeline.values.bare_numbers import Sheetwide, settle
from pullbook.pipeline.values.cells import CellError, parse
from pullbook.pipeline.values.settled import Settled
from pullbook.pipeline.values.sheet import Build, Sheet
from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.part_cells import oversize
from pullbook.pipeline.vocabulary.units import tidy
from pullbook.schemas.fields import FIELDS, WEATHER_REQUIRED
from pullbook.schemas.findings import Decision, Finding

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import Cell, RawSheet
    from pullbook.schemas.field import Value

#: Cells that can show the decimal mark of a table.
_NUMERAL = re.compile(r"\s*[+-]?[\d.,'\u2019 ]+\s*")
#: Fields without which a sheet says something else, rather than less.
_MEAN_SOMETHING = frozenset({"aspiration", "dyno", *SIZE_FIELDS, DISPLACEMENT})
_METRIC = frozenset({"mm", "cm", "m"})
_METRIC_VOLUME = frozenset({"cc", "l"})


def typed(raw: RawSheet) -> Sheet:
    """Return a sheet with typed values; faults of its cells become findings.

    An optional field of a tested sheet that cannot be read is left out, with a warning; of a build
    to predict every field must be readable.
    """
    findings = list(raw.findings)
    mark, of_table = _decimal_marks(raw)
    cells = _Fields(raw, mark)
    findings += cells.findings
    if raw.table is not None:  # who asks about a build is there to write its units
        cells.settle_bare()
    findings += cells.settlements
    values: dict[str, Value] = {**cells.values, "sheet_id": raw.sheet_id}
    pull = ParsedPull()
    if raw.table is not None:
        pull = parse_pull(raw, cells.for_the_pull(of_table))
        findings += pull.findings
        if pull.correction is not None:
            values["correction"] = pull.correction
            findings.append(_named_by_heading(pull.correction))
    return Sheet(
        sheet_id=raw.sheet_id,
        source=raw.source,
        values=values,
        readings=pull.readings,
        findings=findings,
        rows={name: cell.row for name, cell in raw.fields.items()},
        bare=frozenset(cells.bare),
        cells=raw.fields,
        columns=pull.columns,
        settled={**cells.settled, **pull.settled},
        signature=raw.signature,
        text=raw.text,
    )


def _named_by_heading(correction: str) -> Finding:
    message = (
        f"The sheet does not name its correction; the headings of its columns say {correction}."
    )
    return Finding("read-as", message, "correction", None, correction)


class _Fields:
    """The fields of a sheet on their way to typed values."""

    def __init__(self, raw: RawSheet, mark: str | None) -> None:
        self._raw = raw
        self.values: dict[str, Value] = {}
        self.settled: dict[str, Settled] = {}
        self.bare: set[str] = set()
        self.findings: list[Finding] = []
        self.settlements: list[Finding] = []
        self.metric = False
        for name, cell in raw.fields.items():
            self._parse(name, cell, mark)

    def _parse(self, name: str, cell: Cell, mark: str | None) -> None:
        field = FIELDS[name]
        if name == "bore" and oversize(cell.text) is not None:
            self.findings.append(self._over_what(cell))
            return
        try:
            parsed = parse(cell.text, field, cell.unit, cell.row, mark)
        except CellError as error:
            self.findings.append(self._fault(name, error.finding))
            return
        if parsed.finding is not None:
            self.findings.append(parsed.finding)
        if parsed.value is None:
            if name in ("aspiration", "dyno") and cell.text.strip():
                self.findings.append(_taken_for_usual(name, cell))
            return
        self.values[name] = parsed.value
        named = parsed.settled is Settled.WRITTEN and cell.unit is not None
        how = Settled.HEADING if named else parsed.settled
        self.settled[name] = Settled.SETTINGS if cell.from_settings else how
        if field.unit and cell.unit is None and cell.text.strip()[-1:].isdigit():
            self.bare.add(name)

    def _fault(self, name: str, finding: Finding) -> Finding:
        """Return the finding of a cell that cannot be read: of an optional one, a warning."""
        optional = not FIELDS[name].required and name not in _MEAN_SOMETHING
        if self._raw.table is None or not optional:
            return finding
        message = f"{finding.message} It was left out."
        return Finding("left-missing", message, name, finding.row, finding.value, finding.decision)

    def _over_what(self, cell: Cell) -> Finding:
        """Return what to do about a bore that is only said to be so much over."""
        message = (
            f"Bore is {cell.text.strip()!r}, and the family's bore is not known. Write the bore"
            " itself, or the family's in your settings file."
        )
        family = self._raw.fields.get("family")
        name = json.dumps(family.text.strip() if family else "your family", ensure_ascii=False)
        decision = Decision(
            f"what is the standard bore of {name}?", (f"families: {{{name}: {{bore: 4.000 in}}}}",)
        )
        return Finding("not-a-number", message, "bore", cell.row, cell.text.strip(), decision)

    def _metric(self, names: tuple[str, ...]) -> bool:
        """Return whether one of these fields is written in a metric unit."""
        build = Build(sheet_id="", source="", values={}, cells=self._raw.fields)
        return any(
            name in self.values
            and build.unit(name) in (_METRIC_VOLUME if name == DISPLACEMENT else _METRIC)
            for name in names
        )

    def settle_bare(self) -> None:
        """Settle the units of numbers that name none, sizes first: they make a sheet metric."""
        sizes = (*SIZE_FIELDS[:2], DISPLACEMENT)
        inches = any(n in self.values for n in SIZE_FIELDS[:2])
        self.metric = self._metric(sizes[:2] if inches else sizes)
        for name in (*sizes, *(n for n in self.values if n not in sizes)):
            if name in self.bare:
                self._settle(name)

    def _settle(self, name: str) -> None:
        number = self.values[name]
        if not isinstance(number, int | float):
            return
        field = FIELDS[name]
        found = settle(field, float(number), self._sheetwide(), self._raw.fields[name].row)
        if found.settled is Settled.WRITTEN:
            return
        self.values[name], self.settled[name] = found.number, found.settled
        if found.finding is not None:
            self.settlements.append(found.finding)
        if name in SIZE_FIELDS[:2] and found.number != number:
            self.metric = True
        self.bare.discard(name)

    def _sheetwide(self) -> Sheetwide:
        unit = None
        if (cell := self._raw.fields.get("barometer")) is not None and "barometer" in self.values:
            found = numerals.read(cell.text.strip(), None)
            rest = "" if found is None else found.rest.strip()
            unit = tidy(rest or cell.unit or "inHg", "inHg")
        cylinders, elevation = self.values.get("cylinders"), self.values.get("elevation")
        pressure, of_others = self._raw.usual_barometer, self._raw.usual_barometer is not None
        if isinstance(elevation, int | float):
            pressure, of_others = station_pressure(float(elevation)), False
        return Sheetwide(
            self.metric,
            self.metric or unit in ("hPa", "mbar", "kPa", "mmHg", "bar"),
            float(cylinders) if isinstance(cylinders, int | float) else None,
            pressure,
            of_others,
        )

    def for_the_pull(self, mark: str | None) -> OfSheet:
        """Return what the fields say about the pull."""
        correction = self.values.get("correction")
        build = Build(sheet_id="", source="", values=dict(self.values))
        return OfSheet(
            correction if isinstance(correction, str) else None,
            all(name in self.values for name in WEATHER_REQUIRED),
            self.metric,
            build.displacement,
            self.values.get("aspiration") in (None, "natural"),
            mark,
        )


def _taken_for_usual(name: str, cell: Cell) -> Finding:
    usual = {"aspiration": "natural", "dyno": "engine"}[name]
    message = (
        f"{FIELDS[name].title} is {cell.text.strip()!r}; it was taken to be {usual}. Say so, or say"
        " what it is."
    )
    return Finding("word-assumed", message, name, cell.row, cell.text)


def _decimal_marks(raw: RawSheet) -> tuple[str | None, str | None]:
    """Return the decimal marks of the fields and of the table.

    If one of them has commas and does not show what they mean, the mark of the other is used.
    """
    fields = [cell.text for name, cell in raw.fields.items() if FIELDS[name].numeric]
    table = [cell for _, cells in raw.table or () for cell in cells]
    in_fields, in_table = "," in "".join(fields), "," in "".join(table)
    if not in_fields and not in_table:
        return None, None
    numbers = [cell for cell in table if _NUMERAL.fullmatch(cell)]
    of_fields, of_table = numerals.decimal_mark(fields), numerals.decimal_mark(numbers)
    return (
        (of_fields or of_table) if in_fields else None,
        (of_table or of_fields) if in_table else None,
    )
