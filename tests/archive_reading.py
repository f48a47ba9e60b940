"""Read a case of the archive as a shop would, and compare it with its truth value by value."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from archive_truth import Case, Truth

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.checks.pull_rules import curves
from pullbook.pipeline.reading.find_sheets import NothingToReadError
from pullbook.pipeline.values.sheet import Sheet
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

#: Values and readings agree within their rounding.
_NEAR, _NEAR_TORQUE = 0.002, 0.006
#: A curve must have so much of what was written.
_ENOUGH = 0.75
_COMPARED = (*BUILD_FIELDS, "correction", "air_temperature", "barometer", "relative_humidity",
             "tested_on", "dyno", "accessories")  # fmt: skip


class Outcome(NamedTuple):
    """What became of a case.

    right; settled (right with its settings file, refused without); refused (though readable);
    rightly refused; warned (wrong, or not to be told, with a warning); silent (wrong, without one).
    """

    what: str
    why: str = ""


def judge(case: Case, folder: Path) -> Outcome:
    """Read a case and say what became of it."""
    if case.settings:
        without = _outcome(case, case.write(folder / "without"))
        if without.what in ("silent", "warned"):
            return without
        found = _outcome(case, case.write(folder / "with", settings=True))
        return Outcome("settled") if found.what == "right" else found
    return _outcome(case, case.write(folder))


def _outcome(case: Case, folder: Path) -> Outcome:
    try:
        sheets = checked_sheets.read([folder], check_sheet.SHEET_RULES).sheets
    except NothingToReadError as error:
        return Outcome("refused" if case.truth else "rightly refused", str(error))
    accepted = [sheet for sheet in sheets if sheet.accepted]
    if not case.truth:
        return _of_the_unreadable(accepted)
    left = list(case.truth)
    wrong: list[tuple[Sheet, str]] = []
    for sheet in accepted:
        faults = {id(truth): _compare(sheet, truth) for truth in left}
        fitting = next((truth for truth in left if not faults[id(truth)]), None)
        if fitting is not None:
            left.remove(fitting)
        else:
            wrong.append((sheet, min(faults.values(), key=len, default="one sheet too many")))
    for sheet, fault in wrong:
        if not _warned(sheet):
            return Outcome("silent", f"{fault}; {_said([sheet])}")
    if wrong:
        return Outcome("warned", f"{wrong[0][1]}; {_said([wrong[0][0]])}")
    if left and case.may_refuse:
        return Outcome("rightly refused")
    return Outcome("refused", _said(sheets)) if left else Outcome("right")


def _of_the_unreadable(accepted: list[Sheet]) -> Outcome:
    if not accepted:
        return Outcome("rightly refused")
    return Outcome("warned" if all(map(_warned, accepted)) else "silent", _said(accepted))


#: Warnings that every sheet without the weather carries, or that say nothing of how it was read.
_ALWAYS = {"nominal-correction", "correction-range", "chassis-dyno", "mean-pressure-unusual"}


def _warned(sheet: Sheet) -> bool:
    return any(f.severity == "warn" and f.code not in _ALWAYS for f in sheet.findings)


def _said(sheets: list[Sheet]) -> str:
    return " | ".join(
        f"{f.code}: {f.message}" for s in sheets for f in s.findings if f.severity != "note"
    )


def _compare(sheet: Sheet, truth: Truth) -> str:
    """Return what is wrong with a sheet; empty if nothing is."""
    faults = []
    for name in _COMPARED:
        here, there = sheet.given.get(name), truth.values.get(name)
        if here is None and there is None:
            continue
        if not _same(here, there):
            faults.append(f"{FIELDS[name].label} is {here!r}, not {there!r}")
    faults += _compare_curves(sheet, truth)
    return "; ".join(faults)


def _same(here: object, there: object) -> bool:
    if isinstance(here, bool) or isinstance(there, bool) or not isinstance(here, int | float):
        return here == there
    return isinstance(there, int | float) and abs(here - there) <= _NEAR * abs(there)


def _compare_curves(sheet: Sheet, truth: Truth) -> list[str]:
    spoiled = {f.row for f in sheet.findings if f.code in ("spike", "dropout")}
    there = dict(truth.curve)
    most = 0
    for curve in curves(sheet):
        kept = [(rpm, torque) for rpm, torque, reading in curve if reading.row not in spoiled]
        off = [(r, t) for r, t in kept if r not in there or abs(t / there[r] - 1) > _NEAR_TORQUE]
        if off:
            return [f"{off[0][1]:.1f} lb-ft at {off[0][0]:.0f} rpm, not {there.get(off[0][0])}"]
        most = max(most, len(kept))
    return [] if most >= _ENOUGH * len(there) else ["too few readings"]


def wrong_numbers(case: Case, folder: Path) -> tuple[str, str]:
    """Read a spoiled case: ``right``, ``refused``, ``warned`` or ``silent``, and what is wrong.

    What is missing is no wrong number: a line or a heading that was lost may have taken it along.
    """
    try:
        sheets = checked_sheets.read([case.write(folder)], check_sheet.SHEET_RULES).sheets
    except NothingToReadError:
        return "refused", ""
    accepted = [sheet for sheet in sheets if sheet.accepted]
    wrong = [
        (sheet, fault)
        for sheet in accepted
        if (fault := min((_wrong(sheet, truth) for truth in case.truth), key=len))
    ]
    silent = [fault for sheet, fault in wrong if not _warned(sheet)]
    if silent:
        return "silent", silent[0]
    if wrong:
        return "warned", wrong[0][1]
    return ("right" if accepted else "refused"), ""


def _wrong(sheet: Sheet, truth: Truth) -> str:
    faults = [
        f"{FIELDS[name].label} is {here!r}, not {truth.values.get(name)!r}"
        for name in _COMPARED
        if (here := sheet.given.get(name)) is not None and not _same(here, truth.values.get(name))
    ]
    spoiled = {f.row for f in sheet.findings if f.code in ("spike", "dropout")}
    there = dict(truth.curve)
    faults += [
        f"{torque:.1f} lb-ft at {rpm:.0f} rpm, not {there.get(rpm)}"
        for curve in curves(sheet)
        for rpm, torque, reading in curve
        if reading.row not in spoiled
        and (rpm not in there or abs(torque / there[rpm] - 1) > 2 * _NEAR_TORQUE)
    ]
    return "; ".join(faults)
