"""Which engine to run next: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook import answer_sheet, answer_text

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.figure import Figure

    from model.teach import Lesson
    from pipeline.sheet import Sheet
    from pullbook.page import Page
    from pullbook.unit_choice import Units


def as_json(
    found: Sequence[Lesson], candidates: Sequence[Sheet], questions: Sequence[Sheet]
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
    found: Sequence[Lesson], candidates: Sequence[Sheet], questions: Sequence[Sheet]
) -> list[list[str]]:
    """Return name, narrowing by itself and with those before it, and the question it helps most."""
    return [
        [candidates[one.candidate].sheet_id, f"{100 * one.narrows:.1f} %",
         f"{100 * one.narrows_so_far:.1f} %", questions[one.most].sheet_id]
        for one in found
    ]  # fmt: skip


def text(
    found: Sequence[Lesson],
    candidates: Sequence[Sheet],
    questions: Sequence[Sheet],
    told: dict[str, Any],
) -> str:
    """Return what to run next as lines for the terminal."""
    lines = [f"{len(questions)} questions; of {len(candidates)} builds that could be run:", ""]
    lines.append(f"{'run':24}  {'narrows by':>10}  {'so far':>7}  tells most of")
    lines += [
        f"{name[:24]:24}  {alone:>10}  {so_far:>7}  {most}"
        for name, alone, so_far, most in rows(found, candidates, questions)
    ]
    lines += ["", answer_text.wrap(explained(), ""), "", answer_text.source(told)]
    return "\n".join([*lines, answer_text.wrap(answer_text.CAUTION, "")])


def explained() -> str:
    """Return what the figures mean."""
    return (
        "Expected narrowing of the limits of the questions, on the mean, by how much such builds"
        " have in common beyond what the sheets already tell: each run by itself, and with those"
        " above it. What varies from engine to engine and dyno to dyno no run takes away."
    )


def figure(found: Sequence[Lesson], candidates: Sequence[Sheet]) -> Figure:
    """Return the narrowing by each run, and how it adds up."""
    from pullbook import chart  # noqa: PLC0415 - for those who want a picture

    drawn, axes = chart.panel(1.6 + 0.36 * len(found))
    places = range(len(found))
    axes.barh(places, [100 * one.narrows_so_far for one in found], color=chart.COLOURS[0],
              alpha=0.35, label="with those above it")  # fmt: skip
    axes.barh(places, [100 * one.narrows for one in found], height=0.4, color=chart.COLOURS[0],
              label="by itself")  # fmt: skip
    axes.set_yticks(list(places), [candidates[one.candidate].sheet_id for one in found])
    axes.invert_yaxis()
    axes.set_xlabel("narrowing of the questions' limits, %")
    axes.legend(frameon=False, fontsize=9)
    chart.title(drawn, axes, "What to run next", "expected, over the questions that were asked")
    return drawn


def page(
    found: Sequence[Lesson],
    candidates: Sequence[Sheet],
    questions: Sequence[Sheet],
    draw: Callable[[], Figure],
    told: dict[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of what to run next."""
    best = candidates[found[0].candidate].sheet_id
    alt = f"Narrowing of limits by each engine that could be run; {best} teaches most."
    made = answer_sheet.begin("What to run next", draw, alt)
    made.heading("The answer")
    made.text(explained())
    made.table(["run", "narrows by", "so far", "tells most of"],
               rows(found, candidates, questions))  # fmt: skip
    answer_sheet.builds(made, [candidates[one.candidate] for one in found[:4]], units)
    return answer_sheet.close(made, told)
