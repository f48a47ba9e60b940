"""What was found in a sheet: stable codes, severities and messages."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


class Severity(StrEnum):
    """What follows from a finding."""

    REFUSE = "refuse"
    WARN = "warn"
    NOTE = "note"


_REFUSE, _WARN, _NOTE = Severity.REFUSE, Severity.WARN, Severity.NOTE

#: Every code a finding can carry, with its severity and what it means.
CODES: Mapping[str, tuple[Severity, str]] = MappingProxyType(
    {
        "not-readable": (_REFUSE, "the file is not text, or not a workbook, that can be read"),
        "no-front-matter": (_REFUSE, "the sheet file does not open with a block between --- lines"),
        "front-matter-unreadable": (_REFUSE, "the front matter is not a plain list of fields"),
        "no-pull": (_REFUSE, "the sheet has no table of rpm with torque or power"),
        "pull-without-build": (_REFUSE, "the pulls name a sheet that the builds do not have"),
        "repeated-field": (_REFUSE, "a field, a heading or a sheet's name occurs twice"),
        "missing": (_REFUSE, "a required field is missing"),
        "missing-shop": (_REFUSE, "a contributed sheet does not say which shop it is from"),
        "shop-in-clear": (_REFUSE, "a sheet to curate still carries the name of its shop"),
        "missing-weather": (_REFUSE, "observed numbers come without the weather to correct them"),
        "missing-boost": (_REFUSE, "a boosted engine does not say how much boost"),
        "not-a-number": (_REFUSE, "a number was expected"),
        "not-whole": (_REFUSE, "a whole number was expected"),
        "not-a-choice": (_REFUSE, "the value is not one of the field's choices"),
        "not-yes-or-no": (_REFUSE, "yes or no was expected"),
        "not-a-date": (_REFUSE, "an ISO date or a year was expected"),
        "unknown-unit": (_REFUSE, "the unit is not known"),
        "wrong-unit": (_REFUSE, "the unit measures something else"),
        "out-of-range": (_REFUSE, "the value is beyond what can be"),
        "missing-rpm": (_REFUSE, "a row of the pull has no rpm"),
        "too-few-rpm": (_REFUSE, "the pull has fewer than five distinct rpm"),
        "torque-power-disagree": (_REFUSE, "torque, power and rpm contradict one another"),
        "mean-pressure": (_REFUSE, "the brake mean effective pressure cannot be"),
        "correction-range": (_WARN, "the weather is outside what the standard was written for"),
        "nominal-correction": (_WARN, "no weather: a nominal ratio stands for the stated factor"),
        "chassis-dyno": (_WARN, "a nominal driveline efficiency leads to the flywheel"),
        "same-sheet-again": (_WARN, "a later sheet of the same shop and name replaced this one"),
        "row-without-reading": (_WARN, "a row has neither torque nor power and is left out"),
        "unknown-field": (_NOTE, "a field that is not in the dictionary is left out"),
        "unknown-column": (_NOTE, "a column that is not in the dictionary is left out"),
        "assumed-humidity": (_NOTE, "no humidity on the sheet: 50 % was assumed"),
        "read-as": (_NOTE, "a customary word was read as one of the field's choices"),
        "name-withheld": (_NOTE, "a text held the shop's name and was replaced by a code"),
    }
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found in a sheet.

    Attributes
    ----------
    code
        A key of `CODES`.
    message
        What was found, what is allowed and what to do next.
    field
        The field or column it is about, if one.
    row
        The row as a person counts it in the file, from 1, if one.
    value
        The text that was found, if any.
    """

    code: str
    message: str
    field: str | None = None
    row: int | None = None
    value: str | None = None

    def __post_init__(self) -> None:
        if self.code not in CODES:
            msg = f"no finding has the code {self.code!r}"
            raise KeyError(msg)

    @property
    def severity(self) -> Severity:
        """What follows from the finding."""
        return CODES[self.code][0]

    def as_json(self) -> dict[str, str | int | None]:
        """Return the finding as the object that ``check --json`` prints."""
        return {
            "code": self.code,
            "severity": self.severity.value,
            "field": self.field,
            "row": self.row,
            "value": self.value,
            "message": self.message,
        }


def refused(findings: Iterable[Finding]) -> bool:
    """Tell whether any of the findings refuses its sheet."""
    return any(finding.severity is Severity.REFUSE for finding in findings)
