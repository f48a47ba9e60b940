"""One field of a dyno sheet: its kind, its unit, its limits, and how it is put into words."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

#: A number, a text, a yes or no; ``None`` where the sheet gives nothing.
Value = float | int | str | bool | None


class Kind(StrEnum):
    """The kind of value a field holds."""

    TEXT = "text"
    NUMBER = "number"
    WHOLE = "whole"
    CHOICE = "choice"
    FLAG = "flag"
    DATE = "date"


_DTYPES = {
    Kind.TEXT: "str",
    Kind.CHOICE: "str",
    Kind.NUMBER: "float64",
    Kind.WHOLE: "Int64",
    Kind.FLAG: "boolean",
    Kind.DATE: "Int64",
}


class Role(StrEnum):
    """What a field describes: who tested, what was built, or how it was tested."""

    IDENTITY = "identity"
    BUILD = "build"
    TEST = "test"


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a sheet.

    Attributes
    ----------
    name
        The field's name in every file and table.
    kind
        The kind of value it holds.
    role
        What it describes.
    meaning
        A short description for people.
    unit
        The unit of a number written without one; empty for a plain number.
    low, high
        A value outside these limits is refused; in ``unit``; ``None`` means no limit.
    choices
        The allowed values of a choice, as they are written.
    required
        Whether a sheet without it is refused.
    """

    name: str
    kind: Kind
    role: Role
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    required: bool = False

    @property
    def numeric(self) -> bool:
        """Whether the field holds a number."""
        return self.kind in (Kind.NUMBER, Kind.WHOLE)

    @property
    def dtype(self) -> str:
        """The pandas dtype of the field in a curated table."""
        return _DTYPES[self.kind]

    @property
    def label(self) -> str:
        """The field's name in words, for messages: ``intake duration``."""
        return _LABELS.get(self.name, self.name.replace("_", " "))

    @property
    def title(self) -> str:
        """The label with a capital, to start a sentence."""
        return f"{self.label[0].upper()}{self.label[1:]}"

    def quantity(self, number: float, digits: int = 6) -> str:
        """Return a number with the field's unit.

        >>> Field("bore", Kind.NUMBER, Role.BUILD, "cylinder bore", "in").quantity(4.03)
        '4.03 in'
        """
        return f"{number:.{digits}g}{self._after_number}"

    @property
    def _after_number(self) -> str:
        unit = READ_UNITS.get(self.unit, self.unit)
        return unit if unit.startswith(":") or not unit else f" {unit}"

    @property
    def allowed(self) -> str:
        """What the field accepts, in words, for messages and tables."""
        if self.choices:
            return ", ".join(self.choices)
        if self.kind is Kind.FLAG:
            return "yes, no"
        if self.kind is Kind.DATE:
            return "a date (2024-05-31) or a year"
        if not self.numeric:
            return "text"
        number = "a whole number" if self.kind is Kind.WHOLE else "a number"
        both = self._after_number if self.unit.startswith(":") else ""
        return f"{number} from {self.low:g}{both} to {self.high:g}{self._after_number}"


#: Units as they are read, where the dictionary of fields has a code.
READ_UNITS: Mapping[str, str] = MappingProxyType({"in2": "sq in", "in3": "cu in"})
#: Names in words, where the words are not just the name without underscores.
_LABELS = MappingProxyType(
    {"sheet_id": "sheet ID", "cylinders": "number of cylinders", "muffled": "exhaust muffled",
     "arrangement": "cylinder arrangement", "accessories": "front accessories driven",
     "intake_duration_seat": "advertised intake duration",
     "exhaust_duration_seat": "advertised exhaust duration", "port_csa": "port cross-section",
     "tested_on": "test date", "rpm": "engine speed", "pull": "pull number"}
)  # fmt: skip
