"""Which engine to run next: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.text import prediction_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.next_test import Lesson
    from pullbook.pipeline.values.sheet import Build


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
        [candidates[one.candidate].sheet_id, f"{100 * one.narrows:.1f} %",
         f"{100 * one.narrows_so_far:.1f} %", questions[one.most].sheet_id]
        for one in found
    ]  # fmt: skip


def text(
    found: Sequence[Lesson],
    candidates: Sequence[Build],
    questions: Sequence[Build],
    manifest: Mapping[str, Any],
) -> str:
    """Return what to run next as lines for the terminal."""
    lines = [f"{len(questions)} questions; of {len(candidates)} builds that could be run:", ""]
    lines.append(f"{'run':24}  {'narrows by':>10}  {'so far':>7}  tells most of")
    lines += [
        f"{name[:24]:24}  {alone:>10}  {so_far:>7}  {most}"
        for name, alone, so_far, most in rows(found, candidates, questions)
    ]
    lines += ["", prediction_text.wrap(explained(), ""), "", prediction_text.source(manifest)]
    return "\n".join([*lines, prediction_text.wrap(prediction_text.CAUTION, "")])


def explained() -> str:
    """Return what the figures mean."""
    return (
        "Expected narrowing of the limits of the questions, on the mean, by how much such builds"
        " have in common beyond what the sheets already tell: each run by itself, and with those"
        " above it. What varies from engine to engine and dyno to dyno no run takes away."
    )
