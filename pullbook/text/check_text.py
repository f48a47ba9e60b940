"""Findings of checked sheets as lines for the terminal: a summary first, then the sheets."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from pullbook.pipeline.checks.decisions import State, questions, state_of
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.severity import Severity
from pullbook.words.figures import counted, listed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Sheet
    from pullbook.schemas.findings import Finding

#: A warning or a note that so many sheets share is one line.
_SHARED = 3
_MOST_SHEETS, _MOST_NAMES, _MOST_SKIPPED = 20, 3, 5
_WORDS = {Severity.REFUSE: "error", Severity.WARN: "warning", Severity.NOTE: "note"}
_TITLES = {Severity.REFUSE: "Errors (the sheet is rejected)",
           Severity.WARN: "Warnings (the sheet is accepted)",
           Severity.NOTE: "Notes"}  # fmt: skip
#: Findings about names that are shared, or withheld.
_HINT = "name-hint"
_NAMED = {"sheet_id": "sheet ID", "family": "family name"}
_NAMES = ("name-withheld", "text-withheld", _HINT)


def printable(text: str) -> str:
    """Return a text from a sheet without what could move a terminal's cursor."""
    return "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text
    )


def text(sheets: Sequence[Sheet], *, every: bool = False) -> str:
    """Return what was found: counts, what to fix first, then the sheets with findings.

    ``every`` lists every line for every sheet.
    """
    lines = [*summary(sheets), *_kinds(sheets), *_fix_first(sheets), *to_decide(sheets)]
    shared = set() if every else _shared(sheets)
    listed = [sheet for sheet in sheets if every or _own(sheet, shared)]
    listed.sort(key=lambda sheet: sheet.accepted)  # stable: rejected sheets first
    most = len(listed) if every else _MOST_SHEETS
    if listed:
        lines.append("")
    lines += [_of_sheet(sheet, shared, every=every) for sheet in listed[:most]]
    if len(listed) > most:
        lines.append(f"... and {len(listed) - most} more sheets with findings (--all lists them)")
    return "\n".join([*lines, *_shared_lines(sheets, shared)])


def count(sheets: Sequence[Sheet]) -> str:
    """Return how many sheets are accepted, accepted with warnings, and rejected."""
    warned = sum(s.accepted and any(f.severity == "warn" for f in s.findings) for s in sheets)
    rejected = sum(not sheet.accepted for sheet in sheets)
    with_warnings = f" ({warned} with warnings)" if warned else ""
    return (
        f"{counted(len(sheets), 'sheet')}: {len(sheets) - rejected} accepted{with_warnings},"
        f" {rejected} rejected"
    )


def summary(sheets: Sequence[Sheet]) -> list[str]:
    """Return how many sheets are accepted, and of the rejected what each needs."""
    found = Counter(map(state_of, sheets))
    needs = [f"{found[s]} {_NEEDS[s]}" for s in _NEEDS if found[s]]
    return [count(sheets), *([f"Of the rejected: {', '.join(needs)}"] if needs else [])]


_NEEDS = {
    State.DECIDE: "for you to decide",
    State.MEND: "to correct on the sheet",
    State.UNREADABLE: "that cannot be read",
}
_MOST_QUESTIONS, _MOST_ANSWERS = 6, 5


def to_decide(sheets: Sequence[Sheet], *, every: bool = False) -> list[str]:
    """Return the questions that the settings file can answer, most sheets first."""
    asked = questions(sheets)
    lines = []
    most = len(asked) if every else _MOST_QUESTIONS
    for one in asked[:most]:
        lines.append(f"  {counted(len(one.sheets), 'sheet')}: {printable(one.text)}")
        lines += [f"      {printable(line)}" for line in one.lines[:_MOST_ANSWERS]]
    if not asked:
        return []
    if len(asked) > most:
        lines.append(f"  ... and {len(asked) - most} more (pullbook settings FOLDER)")
    return [
        "",
        "To decide, with one of these lines in your settings file"
        " (pullbook settings FOLDER --add 'LINE'):",
        *lines,
    ]


def rejected(sheets: Sequence[Sheet]) -> str:
    """Return the rejected sheets with their errors; the first ones where they are many."""
    lines = [_of_sheet(sheet, set(), only=Severity.REFUSE) for sheet in sheets[:_MOST_SHEETS]]
    if len(sheets) > _MOST_SHEETS:
        lines.append(f"... and {len(sheets) - _MOST_SHEETS} more rejected sheets")
    return "\n".join(lines)


def names(sheets: Iterable[Sheet]) -> list[str]:
    """Return what was done about names that could identify the shop, each once with a count."""
    done: Counter[str] = Counter()
    hinting: dict[str, list[str]] = {}
    for finding in (one for sheet in sheets for one in sheet.findings):
        if finding.code == _HINT:
            named = hinting.setdefault(str(finding.field), [])
            named += [printable(str(finding.value))] if finding.value not in named else []
        elif finding.code in _NAMES:
            done[finding.message] += 1
    return [
        *(_hints(_NAMED[field], named) for field, named in hinting.items()),
        *(f"{printable(message)}{_in_sheets(number)}" for message, number in done.most_common()),
    ]


#: Fields that hold words of one's own, as they are shared.
_TEXTS = ("shop", "sheet_id", "family", "engine")


def shared_texts(sheets: Iterable[Sheet]) -> list[tuple[str, list[str]]]:
    """Return every distinct text that would be shared, by field: each is worth a look."""
    kept = list(sheets)
    found = {
        FIELDS[name].label: sorted({str(v) for s in kept if (v := s.values.get(name)) is not None})
        for name in _TEXTS
    }
    return [(label, values) for label, values in found.items() if values]


def hinted(sheets: Iterable[Sheet]) -> list[str]:
    """Return the kinds of names that hold a word of the shop's name and are shared as written."""
    fields = {f.field for sheet in sheets for f in sheet.findings if f.code == _HINT}
    return [word for field, word in _NAMED.items() if field in fields]


def _hints(kind: str, named: list[str]) -> str:
    """Return one line about all names of a kind that hold a word of the shop's name."""
    return (
        f"{counted(len(named), kind)} with a word of the shop's name: {listed(named, _MOST_NAMES)}."
        " Shared as written; rename what gives you away."
    )


def _in_sheets(number: int) -> str:
    return f" (in {number} sheets)" if number > 1 else ""


def passed_over(paths: Sequence[Path]) -> str:
    """Return which files were not read because of their names."""
    names = listed([printable(path.name) for path in paths], _MOST_SKIPPED)
    return (
        f"Not read: {names} (sheets are .csv files, workbooks, and text files with a column of rpm"
        " beside torque or power)"
    )


def _codes(sheets: Sequence[Sheet], severity: Severity) -> list[tuple[str, int]]:
    """Return codes of a severity with the number of sheets that have each, most first."""
    found = Counter(
        code
        for sheet in sheets
        for code in {f.code for f in sheet.findings if f.severity is severity}
    )
    return sorted(found.items(), key=lambda item: (-item[1], item[0]))


def _kinds(sheets: Sequence[Sheet]) -> list[str]:
    lines = []
    for severity, title in _TITLES.items():
        codes = _codes(sheets, severity)
        if codes:
            lines += ["", f"{title}:"]
            lines += [
                f"  {number:5} {'sheet ' if number == 1 else 'sheets'}  {CODES[code].meaning}"
                for code, number in codes
            ]
    return lines


def _fix_first(sheets: Sequence[Sheet]) -> list[str]:
    codes = _codes(sheets, Severity.REFUSE) or _codes(sheets, Severity.WARN)
    if not codes:
        return []
    code, number = codes[0]
    meaning = CODES[code].meaning
    what = meaning if meaning[1].isupper() else meaning[0].lower() + meaning[1:]
    return ["", f"Fix first: {what} ({counted(number, 'sheet')})"]


def _kind(finding: Finding) -> tuple[str, str | None]:
    return finding.code, finding.field


def _shared(sheets: Sequence[Sheet]) -> set[tuple[str, str | None]]:
    """Return the kinds of warnings and notes that many sheets share."""
    found = Counter(
        kind
        for sheet in sheets
        for kind in {_kind(f) for f in sheet.findings if f.severity is not Severity.REFUSE}
    )
    return {kind for kind, number in found.items() if number >= _SHARED}


def _own(sheet: Sheet, shared: set[tuple[str, str | None]]) -> list[Finding]:
    return [finding for finding in sheet.findings if _kind(finding) not in shared]


def _shared_lines(sheets: Sequence[Sheet], shared: set[tuple[str, str | None]]) -> list[str]:
    """Return a line for each kind that many sheets share: its count, and the first of it."""
    having: dict[tuple[str, str | None], list[Sheet]] = {kind: [] for kind in shared}
    first: dict[tuple[str, str | None], Finding] = {}
    for sheet in sheets:
        for kind in {_kind(finding) for finding in sheet.findings} & shared:
            having[kind].append(sheet)
        for finding in sheet.findings:
            first.setdefault(_kind(finding), finding)
    lines = []

    def order(kind: tuple[str, str | None]) -> tuple[bool, int, str, str]:
        """Warnings before notes, then what most sheets share."""
        is_note = first[kind].severity is Severity.NOTE
        return is_note, -len(having[kind]), kind[0], kind[1] or ""

    for kind in sorted(having, key=order):
        some = having[kind]
        names = listed([printable(sheet.sheet_id) for sheet in some], _MOST_NAMES)
        message = printable(first[kind].message)
        lines.append(f"  {_WORDS[first[kind].severity]:7} {len(some)} sheets ({names}),"
                     f" for example: {message}")  # fmt: skip
    return ["", "Shared by several sheets:", *lines] if lines else []


def _of_sheet(
    sheet: Sheet,
    shared: set[tuple[str, str | None]],
    *,
    every: bool = False,
    only: Severity | None = None,
) -> str:
    """Return a sheet's findings as lines; without ``every`` one line a kind, with a count."""
    state = "accepted" if sheet.accepted else "REJECTED"
    lines = [f"{printable(sheet.sheet_id)}  {state}  ({printable(sheet.source)})"]
    findings = [f for f in _own(sheet, shared) if only is None or f.severity is only]
    kinds = Counter(map(_kind, findings))
    for finding in findings:
        number = 1 if every else kinds.pop(_kind(finding), 0)
        if number:
            more = f" (and {number - 1} more like it)" if number > 1 else ""
            row = f"row {finding.row}: " if finding.row and "row" not in finding.message else ""
            lines.append(f"  {_WORDS[finding.severity]:7} {row}{printable(finding.message)}{more}")
    return "\n".join(lines)
