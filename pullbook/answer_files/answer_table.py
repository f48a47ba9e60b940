"""Answers as one table for a spreadsheet: a row a build and engine speed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.storage import csv_text
from pullbook.text.prediction_text import NOT_TESTED

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Answer, Between, Point
    from pullbook.words.units import Units


def text(builds: Sequence[Build], answers: Sequence[Answer | None], units: Units) -> str:
    """Return the table as CSV, numbers as plain digits.

    A build that cannot be predicted has one row, with the reason in the last column.
    """
    rows = [headings(units)]
    for build, answer in zip(builds, answers, strict=True):
        name = build.sheet_id
        if answer is None:
            why = "" if build.fault is None else build.fault.message
            rows.append([name, *[""] * (len(headings(units)) - 2), why])
        else:
            rows += [[name, answer.standing.value, *row] for row in _rows(answer, units)]
    return csv_text.text(rows)


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
