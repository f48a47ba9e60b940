"""One column of a pull: its cells as numbers in the unit of its quantity."""

from __future__ import annotations

import math
import re

from pullbook.pipeline.values.cells import CellError, parse
from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.units import UnknownUnitError, WrongUnitError, known, scale
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Finding

RUN = re.compile(r"\s*(?:run|pull|sweep|lauf|no\.?|#)\s*(\d+)\s*", re.IGNORECASE)
_MOST_FAULTS = 100


def _two_units(name: str, heading: str, text: str, row: int) -> Finding:
    message = (
        f"The heading of {name} says {heading}, and row {row} has {text.strip()!r}. Correct the one"
        " that is wrong."
    )
    return Finding("units-disagree", message, name, row, text)


class PullColumn:
    """One column of a pull: parses its texts into numbers.

    Attributes
    ----------
    texts
        The cells as written.
    numbers
        One number per row; ``None`` for a blank cell or one that cannot be read.
    spoiled
        Rows whose cell cannot be read.
    findings
        Faults of its cells, and notes on how cells were read, one of each kind.
    """

    def __init__(self, name: str, unit: str | None, factor: float) -> None:
        self._field, self.unit, self.factor = PULL_FIELDS[name], unit, factor
        self.texts: list[str] = []
        self.numbers: list[float | None] = []
        self.spoiled: set[int] = set()
        self.findings: list[Finding] = []

    def read(self, texts: list[str], rows: list[tuple[int, list[str]]], mark: str | None) -> None:
        """Parse the cells; a column of plain numbers, as most are, is converted at once."""
        self.texts = texts
        plain = self._plain(texts) if mark is None else None
        self.numbers = plain or [
            self._cell(text, row, mark) for text, (row, _) in zip(texts, rows, strict=True)
        ]
        if self.factor != 1.0:
            self.numbers = [None if one is None else self.factor * one for one in self.numbers]

    def convert(self, unit: str) -> None:
        """Take the numbers, which named no unit, to be in this one."""
        slope, _ = scale(unit, self._field.unit)
        self.unit = unit
        self.numbers = [None if one is None else slope * one for one in self.numbers]

    def _plain(self, texts: list[str]) -> list[float | None] | None:
        try:
            slope, offset = scale(self.unit, self._field.unit)
            numbers = [slope * float(text) + offset for text in texts]
        except (ValueError, UnknownUnitError, WrongUnitError):
            return None
        whole = self._field.kind is not Kind.WHOLE or all(map(float.is_integer, numbers))
        valid = whole and all(map(math.isfinite, numbers)) and "_" not in "".join(texts)
        return list(numbers) if valid else None

    def _other_unit(self, text: str) -> bool:
        """Return whether a cell names another unit than its heading."""
        if self.unit is None or text.strip()[-1:].isdigit():
            return False
        found = numerals.read(text.strip(), None)
        unit = "" if found is None else found.rest.strip()
        own = self._field.unit
        return bool(unit) and known(unit, own) and scale(unit, own) != scale(self.unit, own)

    def _cell(self, text: str, row: int, mark: str | None) -> float | None:
        if len(self.findings) > _MOST_FAULTS:  # not a column of numbers; enough was reported
            self.spoiled.add(row)
            return None
        if self._field.name == "pull" and (numbered := RUN.fullmatch(text)):
            text = numbered[1]
        try:
            parsed = parse(text, self._field, self.unit, row, mark)
        except CellError as error:
            self.findings.append(error.finding)
            self.spoiled.add(row)
            return None
        if self._other_unit(text):
            self.findings.append(_two_units(self._field.name, str(self.unit), text, row))
            self.spoiled.add(row)
            return None
        note = parsed.finding
        if note is not None and all(note.code != known.code for known in self.findings):
            self.findings.append(note)
        return None if parsed.value is None else float(parsed.value)
