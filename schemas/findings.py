"""A finding: what is wrong or notable in a sheet, with a stable code and a message."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.severity import Severity

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True, slots=True)
class Decision:
    """What only the shop can say about its sheets, and the settings that say it.

    Attributes
    ----------
    question
        The question, such as ``what does intake type 'DP2' mean?``.
    lines
        Lines of the settings file, one for each answer.
    """

    question: str
    lines: tuple[str, ...]

    def as_json(self) -> dict[str, str | list[str]]:
        """Return the decision as ``check --json`` prints it."""
        return {"question": self.question, "settings": list(self.lines)}


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
        The field or column it is about, if any.
    row
        The row in the file, counted from 1, if any.
    value
        The text that was found, if any.
    decision
        The question that the shop's settings file can answer, if any.
    """

    code: str
    message: str
    field: str | None = None
    row: int | None = None
    value: str | None = None
    decision: Decision | None = None

    def __post_init__(self) -> None:
        if self.code not in CODES:
            msg = f"{self.code!r} is not a code of a finding"
            raise KeyError(msg)

    @property
    def severity(self) -> Severity:
        """The severity of the finding's code."""
        return CODES[self.code].severity

    def as_json(self) -> dict[str, str | int | None]:
        """Return the finding as ``check --json`` prints it, without its decision."""
        return {
            "code": self.code,
            "severity": self.severity.value,
            "field": self.field,
            "row": self.row,
            "value": self.value,
            "message": self.message,
        }


def doubt(findings: Iterable[Finding]) -> float:
    """Return the relative standard deviation that warnings add to a sheet's torque.

    Each code counts once; the standard deviations add as squares.
    """
    return math.hypot(*(CODES[code].sd for code in {finding.code for finding in findings}))


def refused(findings: Iterable[Finding]) -> bool:
    """Return whether any finding refuses the sheet."""
    return any(finding.severity is Severity.REFUSE for finding in findings)
