"""Why a curve is what it is, as text and as a picture."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.schemas.answer import Standing
from pullbook.text import prediction_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.answers.explain import Explanation
    from pullbook.text.units import Units

_WIDTH = 79
_TOLD_MISSING = 4
_WORTH_TELLING = 0.01
DWARFS = 3.0


def text(found: Explanation, manifest: Mapping[str, Any], units: Units) -> str:
    """Return an explanation as lines for the terminal."""
    rpm = "".join(f"{speed:8.0f}" for speed in found.rpm)
    factor = units.shown(1.0, "lb-ft")
    lines = [
        f"{found.sheet_id}: what makes its curve, {units.torque}",
        "",
        *(_wrap(line) for line in first(found)),
        f"{'rpm':28}{rpm}",
        f"{'the typical build':28}" + _numbers(factor * found.typical, "8.0f"),
    ]
    order = sorted(found.parts, key=lambda name: -float(np.abs(found.parts[name]).mean()))
    lines += [f"{name:28}" + _numbers(factor * found.parts[name], "+8.1f") for name in order]
    lines += [f"{'this build':28}" + _numbers(factor * found.torque, "8.0f"), ""]
    lines.append("Nearest sheets, and what differs most (here / there):")
    lines += [_wrap(f"  {name} (distance {far}): {differs}") for name, far, differs in near(found)]
    lines += ["", *(_wrap(line) for line in notes(found)), prediction_text.source(manifest)]
    return "\n".join(lines)


def first(found: Explanation) -> list[str]:
    """Return what to know before the parts: where the build stands, and what was not swept."""
    said = []
    if found.found.standing is not Standing.INSIDE:
        why = "; ".join(reason.message for reason in found.found.reasons)
        said.append(f"It stands {prediction_text.STANDING[found.found.standing.value]}: {why}.")
    bare = found.rpm[~found.found.supported(found.rpm)]
    if len(bare):
        said.append("No such build was swept at " + ", ".join(f"{v:.0f}" for v in bare) + " rpm.")
    return said


def near(found: Explanation) -> list[list[str]]:
    """Return name, distance and what differs most of each of the nearest sheets."""
    return [
        [one.sheet_id, f"{one.distance:.2f}",
         ", ".join(f"{name} {here} / {there}" for name, here, there in one.differs) or "nothing"]
        for one in found.nearest
    ]  # fmt: skip


def notes(found: Explanation) -> list[str]:
    """Return which missing field would narrow the limits most, and what the parts mean."""
    worth = [m for m in found.missing if (m.narrows or 0.0) >= _WORTH_TELLING][:_TOLD_MISSING]
    said = ", ".join(f"{m.field} (by about {100 * (m.narrows or 0):.0f} %)" for m in worth)
    missing = [f"Not given, and would narrow the limits most: {said}."] if worth else []
    return [
        *missing,
        "The typical build has the medians and the most frequent choices of the data. What a group"
        " of parts adds is what the model says, averaged over every order of putting the groups in;"
        " it is how the data hang together, not a promise of what a swap of parts will do.",
    ]


def _numbers(values: Any, form: str) -> str:
    return "".join(f"{value:{form}}" for value in values)


def _wrap(text_: str, indent: str = "") -> str:
    return textwrap.fill(text_, _WIDTH, subsequent_indent=indent, break_on_hyphens=False)
