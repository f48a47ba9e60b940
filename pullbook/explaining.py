"""Why a curve is what it is, as text and as a picture."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from model.standing import Standing
from pullbook import answer_sheet, answer_text, chart

if TYPE_CHECKING:
    from collections.abc import Callable

    from model.explain import Explanation
    from pipeline.sheet import Sheet
    from pullbook.page import Page
    from pullbook.unit_choice import Units

_WIDTH = 79
_TOLD_MISSING = 4
_WORTH_TELLING = 0.01
_DWARFS = 3.0


def text(found: Explanation, told: dict[str, Any], units: Units) -> str:
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
    lines += ["", *(_wrap(line) for line in notes(found)), answer_text.source(told)]
    return "\n".join(lines)


def first(found: Explanation) -> list[str]:
    """Return what to know before the parts: where the build stands, and what was not swept."""
    said = []
    if found.found.standing is not Standing.INSIDE:
        why = "; ".join(reason.message for reason in found.found.reasons)
        said.append(f"It stands {answer_text.STANDING[found.found.standing.value]}: {why}.")
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


def figure(found: Explanation, units: Units) -> Figure:
    """Return what each group of parts adds over engine speed: a panel a group.

    All share one scale but the largest where it would dwarf the others; its panel says so.
    """
    factor = units.shown(1.0, "lb-ft")
    order = sorted(found.parts, key=lambda name: -float(np.abs(found.parts[name]).mean()))
    heights = [1.08 * factor * float(np.abs(found.parts[name]).max()) + 1e-6 for name in order]
    dwarfs = heights[0] > _DWARFS * max(heights[1:])
    limits = [max(heights[1:]) if dwarfs else max(heights)] * len(order)
    limits[0] = heights[0] if dwarfs else limits[0]
    drawn = Figure(figsize=(chart.WIDTH, 7.8), layout="constrained")
    FigureCanvasAgg(drawn)
    panels = drawn.subplots(4, 2, sharex=True).ravel()
    for axes, name, limit in zip(panels, order, limits, strict=True):
        part = factor * found.parts[name]
        axes.axhline(0, color="#8b9096", linewidth=0.8)
        for colour, hatch, where in (
            (chart.COLOURS[0], None, part >= 0), (chart.COLOURS[1], "////", part < 0),
        ):  # fmt: skip
            axes.fill_between(found.rpm, 0, part, where=where, interpolate=True, color=colour,
                              alpha=0.75, linewidth=0, hatch=hatch)  # fmt: skip
        own = " (on a scale of its own)" if dwarfs and name == order[0] else ""
        axes.set_title(f"{name}{own}", loc="left", fontsize=10)
        axes.set_ylim(-limit, limit)
    drawn.supxlabel("engine speed, rpm", fontsize=10)
    drawn.supylabel(f"{units.torque} against the typical build", fontsize=10)
    chart.headline(drawn, f"What makes the curve of {found.sheet_id}")
    return drawn


def page(
    found: Explanation,
    draw: Callable[[], Figure],
    sheet: Sheet,
    told: dict[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of an explanation."""
    order = sorted(found.parts, key=lambda name: -float(np.abs(found.parts[name]).mean()))
    alt = "What each group of parts adds to the curve over engine speed; most of all " + order[0]
    made = answer_sheet.begin(f"What makes the curve of {found.sheet_id}", draw, alt)
    factor = units.shown(1.0, "lb-ft")
    for line in first(found):
        made.text(line)
    made.heading(f"What each group of parts adds, {units.torque}")
    rows = [["the typical build", *(f"{v:.0f}" for v in factor * found.typical)]]
    rows += [[name, *(f"{v:+.1f}" for v in factor * found.parts[name])] for name in order]
    rows.append(["this build", *(f"{v:.0f}" for v in factor * found.torque)])
    made.table(["rpm", *(f"{speed:.0f}" for speed in found.rpm)], rows)
    made.heading("Nearest sheets")
    made.table(["sheet", "distance", "what differs most (here / there)"], near(found))
    for line in notes(found):
        made.text(line)
    answer_sheet.builds(made, [sheet], units)
    return answer_sheet.close(made, told)
