"""What only the shop can decide about its sheets: one question for all sheets it is about."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

from pullbook.schemas.severity import Severity

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pullbook.pipeline.values.sheet import Sheet
    from pullbook.schemas.findings import Finding

#: Findings that leave nothing to mend on the sheet: the file itself must be saved anew.
_UNREADABLE = frozenset({"not-readable", "too-large", "open-quote"})


class Question(NamedTuple):
    """A question about sheets, with the settings that answer it.

    Attributes
    ----------
    text
        The question.
    lines
        Lines of the settings file, one for each answer.
    sheets
        The IDs of the sheets it is about.
    """

    text: str
    lines: tuple[str, ...]
    sheets: list[str]


class State(StrEnum):
    """What became of a sheet, and what is to be done about it."""

    READ = "read"
    WARNED = "read with warnings"
    DECIDE = "needs a decision"
    MEND = "needs a correction"
    UNREADABLE = "cannot be read"


def state_of(sheet: Sheet) -> State:
    """Return what became of a sheet."""
    faults = _faults(sheet)
    if not faults:
        warned = any(finding.severity is Severity.WARN for finding in sheet.findings)
        return State.WARNED if warned else State.READ
    if any(finding.code in _UNREADABLE for finding in faults):
        return State.UNREADABLE
    return State.DECIDE if any(f.decision is not None for f in faults) else State.MEND


def _faults(sheet: Sheet) -> list[Finding]:
    return [finding for finding in sheet.findings if finding.severity is Severity.REFUSE]


def questions(sheets: Iterable[Sheet]) -> list[Question]:
    """Return the questions about sheets, first those that keep sheets out, most sheets first."""
    found: dict[str, Question] = {}
    keeps_out: dict[str, int] = {}
    for sheet in sheets:
        for finding in sheet.findings:
            if (asked := finding.decision) is None:
                continue
            one = found.setdefault(asked.question, Question(asked.question, asked.lines, []))
            if sheet.sheet_id not in one.sheets[-1:]:
                one.sheets.append(sheet.sheet_id)
            refuses = finding.severity is Severity.REFUSE
            keeps_out[asked.question] = keeps_out.get(asked.question, 0) + refuses
    return sorted(
        found.values(), key=lambda one: (not keeps_out[one.text], -len(one.sheets), one.text)
    )
