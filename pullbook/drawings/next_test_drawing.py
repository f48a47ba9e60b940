"""Which engine to test next, described as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.drawings.chart import Bar, Chart, Panel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.answers.next_test import Lesson
    from pullbook.pipeline.values.sheet import Build
    from pullbook.words.units import Units


def of_lessons(found: Sequence[Lesson], candidates: Sequence[Build], units: Units) -> Chart:
    """Return how much each test narrows the limits, and how it adds up."""
    names = [candidates[one.candidate].sheet_id for one in found]
    bars = tuple(
        Bar(name, 100 * one.narrows, behind=100 * one.narrows_so_far)
        for name, one in zip(names, found, strict=True)
    )
    return Chart(
        "Which engine to test next",
        (
            "expected, average over the builds asked about",
            f"limits of {units.torque_axis}",
            "dark: this test alone; pale: with those above it",
        ),
        (Panel("limits narrower by, %", bars=bars, zero=True),),
        f"How much each test would narrow the limits; {names[0]} narrows them most.",
    )
