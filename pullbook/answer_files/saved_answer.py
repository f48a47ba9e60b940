"""Answers that were saved, and what has changed when their builds are asked again."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, NamedTuple

from pullbook.pipeline.builds import build_files
from pullbook.pipeline.physics.correction_factors import to_reference
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Answer
    from pullbook.words.units import Units

#: Less than this share of torque is no change.
_SAME = 0.001


class Saved(NamedTuple):
    """An answer as it was saved: the day, and what ``--json`` printed; ``None`` if it had none."""

    on: str
    answer: dict[str, Any] | None


def text(builds: Sequence[Build], answers: Sequence[Answer | None], units: Units, on: str) -> str:
    """Return answers with their builds as JSON, to be kept.

    Parameters
    ----------
    builds, answers
        The builds, and the answer about each that could be predicted.
    units
        At which standard the answers are.
    on
        The day, as an ISO date.

    """
    each = [
        {
            "build": {"sheet_id": build.sheet_id, **build.given},
            "answer": None if answer is None else units.as_json(answer),
        }
        for build, answer in zip(builds, answers, strict=True)
    ]
    made = {build_files.SAVED: 1, "saved_on": on, "answers": each}
    return json.dumps(made, indent=1, ensure_ascii=False) + "\n"


def read(path: Path) -> list[Saved]:
    """Return the answers in a saved file; none for any other file of builds."""
    if path.suffix.casefold() != build_files.SAVED_ENDING:
        return []
    found = build_files.saved(path)
    return [Saved(str(found.get("saved_on", "")), one.get("answer")) for one in found["answers"]]


def changes(saved: Saved, now: Answer, units: Units) -> list[str]:
    """Return what has changed since an answer was saved."""
    before = saved.answer
    if before is None:
        return []
    ids = before["bundle"]["id"], now.bundle["id"]
    since = f"saved on {saved.on} with model {ids[0]}"
    since += "; the same model answers now" if ids[0] == ids[1] else f"; model {ids[1]} answers now"
    lines = [*_torque(before, now, units), *_standing(before, now)]
    return [f"{since}: {'; '.join(lines) or 'nothing has changed'}."]


def _torque(before: dict[str, Any], now: Answer, units: Units) -> list[str]:
    """Return where torque has changed most, and how its limits have."""
    factor = to_reference(before["correction"], None)
    known = {one["rpm"]: one for one in before["curve"] if one["supported"]}
    both = [(known[p.rpm], p) for p in now.curve if p.supported and p.rpm in known]
    if not both:
        return ["no engine speed is in both answers"]
    old, new = max(both, key=lambda b: abs(b[1].torque.value / (b[0]["torque"] * factor) - 1))
    there = old["torque"] * factor
    share = new.torque.value / there - 1
    if abs(share) < _SAME:
        return []
    shown = [f"{units.shown(one, 'lb-ft'):.0f}" for one in (there, new.torque.value)]
    moved = (
        f"torque has changed most at {new.rpm:.0f} rpm, from {shown[0]} to {shown[1]}"
        f" {units.torque} ({figures.difference(100 * share)} %)"
    )
    return [moved, *_limits(both)]


def _limits(both: Sequence[tuple[dict[str, Any], Any]]) -> list[str]:
    """Return by how much the limits have become narrower or wider, on average."""
    widths = [
        ((new.torque.high - new.torque.low) / new.torque.value,
         (old["torque_high"] - old["torque_low"]) / old["torque"])
        for old, new in both
        if new.torque.low is not None and old["torque_low"] is not None
    ]  # fmt: skip
    if not widths:
        return []
    share = sum(new for new, _ in widths) / sum(old for _, old in widths) - 1
    percent = figures.percents(100 * abs(share))
    if percent == "0.0":
        return []
    return [f"limits are {percent} % {'wider' if share > 0 else 'narrower'}"]


def _standing(before: dict[str, Any], now: Answer) -> list[str]:
    from pullbook.text.prediction_text import PLACE

    was, is_ = before["standing"], now.standing.value
    return [] if was == is_ else [f"the build was {PLACE[was]} and is {PLACE[is_]}"]
