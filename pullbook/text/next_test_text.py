"""Which engine to test next, as a builder reads it in a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.text import prediction_text
from pullbook.words import figures
from pullbook.words.columns import columns

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.next_test import Lesson
    from pullbook.pipeline.values.sheet import Build
    from pullbook.words.units import Units

HEADINGS = ("test", "narrows by", "with those above", "helps most with")


def as_json(
    found: Sequence[Lesson], candidates: Sequence[Build], questions: Sequence[Build]
) -> dict[str, Any]:
    """Return what ``next --json`` prints."""
    return {
        "questions": len(questions),
        "candidates": len(candidates),
        "run": [
            {
                "sheet_id": candidates[one.candidate].sheet_id,
                "narrows": round(one.narrows, 4),
                "narrows_so_far": round(one.narrows_so_far, 4),
                "tells_most_of": questions[one.most].sheet_id,
            }
            for one in found
        ],
    }


def rows(
    found: Sequence[Lesson], candidates: Sequence[Build], questions: Sequence[Build]
) -> list[list[str]]:
    """Return name, narrowing by itself and with those before it, and the question it helps most."""
    return [
        [candidates[one.candidate].sheet_id, f"{figures.percents(100 * one.narrows)} %",
         f"{figures.percents(100 * one.narrows_so_far)} %", questions[one.most].sheet_id]
        for one in found
    ]  # fmt: skip


def text(
    found: Sequence[Lesson],
    candidates: Sequence[Build],
    questions: Sequence[Build],
    manifest: Mapping[str, Any],
    units: Units,
) -> str:
    """Return what to test next as lines for the terminal."""
    lines = [
        f"{figures.counted(len(questions), 'question')},"
        f" {figures.counted(len(candidates), 'engine')} that could be tested; best first:",
        "",
    ]
    names, *cells = zip(*rows(found, candidates, questions), strict=True)
    lines += columns(HEADINGS[0], names, HEADINGS[1:], list(zip(*cells, strict=True)))
    lines += ["", prediction_text.wrap(explained(units), ""), "", prediction_text.source(manifest)]
    return "\n".join([*lines, prediction_text.wrap(prediction_text.CAUTION, "")])


def explained(units: Units) -> str:
    """Return what the figures mean."""
    return (
        f"Narrows by: how much narrower the limits of torque ({units.torque_condition}) of the"
        " builds you ask about should become, on average: by each test alone, and together with"
        " those above it. Scatter from engine to engine and from dyno to dyno stays, whatever is"
        " tested."
    )
