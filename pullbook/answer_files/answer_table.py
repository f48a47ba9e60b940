"""Answers as one table for a spreadsheet: a row a build and engine speed."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from pullbook.text.prediction_text import NOT_TESTED

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Answer, Between, Point
    from pullbook.words.units import Units

#: How a text begins that a spreadsheet would run as a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def text(builds: Sequence[Build], answers: Sequence[Answer | None], units: Units) -> str:
    """Return the table as CSV, numbers as plain digits.

    A build that cannot be predicted has one row, with the reason in the last column.
    """
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(headings(units))
    for build, answer in zip(builds, answers, strict=True):
        name = inert(build.sheet_id)
        if answer is None:
            why = "" if build.fault is None else inert(build.fault.message)
            table.writerow([name, *[""] * (len(headings(units)) - 2), why])
        else:
            table.writerows([name, answer.standing.value, *row] for row in _rows(answer, units))
    return out.getvalue()


def headings(units: Units) -> list[str]:
    """Return the headings, each quantity with its unit."""
    made = [
        f"{of}{end} ({unit})"
        for of, unit in (("torque", units.torque), ("power", units.power))
        for end in ("", " low", " high")
    ]
    return ["build", "data", "rpm", *made, "limits (%)", "correction", "note"]


def _rows(answer: Answer, units: Units) -> Iterable[list[str]]:
    level = f"{100 * answer.level:.4g}" if answer.calibrated else ""
    for point in answer.curve:
        numbers = _numbers(point, units) if point.supported else [""] * 6
        note = "" if point.supported else NOT_TESTED
        yield [f"{point.rpm:.10g}", *numbers, level, units.standard, note]


def _numbers(point: Point, units: Units) -> list[str]:
    both: tuple[Between, ...] = (
        units.between(point.torque, "lb-ft"),
        units.between(point.power, "hp"),
    )
    return ["" if number is None else f"{number:.1f}" for one in both for number in one]


def inert(words: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    >>> inert("=1+1"), inert("launch"), inert(" @x")
    ("'=1+1", 'launch', "' @x")
    """
    return f"'{words}" if words.lstrip(" ").startswith(_FORMULA) else words
