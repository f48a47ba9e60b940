"""Why a curve is what it is, as text and as a picture."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from pullbook import chart

if TYPE_CHECKING:
    from pathlib import Path

    from model.explain import Explanation

_WIDTH = 79
_TOLD_MISSING = 4
_WORTH_TELLING = 0.01
_DWARFS = 3.0


def text(found: Explanation, told: dict[str, Any]) -> str:
    """Return an explanation as lines for the terminal."""
    rpm = "".join(f"{speed:8.0f}" for speed in found.rpm)
    lines = [
        f"{found.sheet_id}: what makes its curve, lb-ft",
        "",
        f"{'rpm':28}{rpm}",
        f"{'the typical build':28}" + _numbers(found.typical, "8.0f"),
    ]
    order = sorted(found.parts, key=lambda name: -float(np.abs(found.parts[name]).mean()))
    lines += [f"{name:28}" + _numbers(found.parts[name], "+8.1f") for name in order]
    lines += [f"{'this build':28}" + _numbers(found.torque, "8.0f"), ""]
    lines.append("Nearest sheets, and what differs most (here / there):")
    for near in found.nearest:
        differs = ", ".join(f"{name} {here} / {there}" for name, here, there in near.differs)
        lines.append(
            _wrap(f"  {near.sheet_id} (distance {near.distance:.2f}): {differs or 'nothing'}")
        )
    worth = [m for m in found.missing if (m.narrows or 0.0) >= _WORTH_TELLING][:_TOLD_MISSING]
    if worth:
        said = ", ".join(f"{m.field} (by about {100 * (m.narrows or 0):.0f} %)" for m in worth)
        lines += ["", _wrap(f"Not given, and would narrow the limits most: {said}.")]
    lines += ["", _wrap(
        "The typical build has the medians and the most frequent choices of the data. What a group"
        " of parts adds is what the model says, averaged over every order of putting the groups in;"
        " it is how the data hang together, not a promise of what a swap of parts will do."
    ), f"From {told['sheets']} sheets of {told['shops']} shops (bundle {told['id']})."]  # fmt: skip
    return "\n".join(lines)


def _numbers(values: Any, form: str) -> str:
    return "".join(f"{value:{form}}" for value in values)


def _wrap(text_: str, indent: str = "") -> str:
    return textwrap.fill(text_, _WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def draw(found: Explanation, path: Path) -> None:
    """Draw what each group of parts adds over engine speed: a panel a group.

    All share one scale but the largest where it would dwarf the others; its panel says so.

    ``path`` ends in ``.svg``, ``.png`` or ``.pdf``.
    """
    order = sorted(found.parts, key=lambda name: -float(np.abs(found.parts[name]).mean()))
    heights = [1.08 * float(np.abs(found.parts[name]).max()) + 1e-6 for name in order]
    dwarfs = heights[0] > _DWARFS * max(heights[1:])
    limits = [max(heights[1:]) if dwarfs else max(heights)] * len(order)
    limits[0] = heights[0] if dwarfs else limits[0]
    with mpl.rc_context({**chart.STYLE, "font.size": 9}):
        figure = Figure(figsize=(6.4, 7.8), layout="constrained")
        FigureCanvasAgg(figure)
        panels = figure.subplots(4, 2, sharex=True).ravel()
        for axes, name, limit in zip(panels, order, limits, strict=True):
            part = found.parts[name]
            axes.axhline(0, color="#8b9096", linewidth=0.8)
            for colour, hatch, where in (
                (chart.COLOURS[0], None, part >= 0), (chart.COLOURS[1], "////", part < 0),
            ):  # fmt: skip
                axes.fill_between(found.rpm, 0, part, where=where, interpolate=True, color=colour,
                                  alpha=0.75, linewidth=0, hatch=hatch)  # fmt: skip
            own = " (on a scale of its own)" if dwarfs and name == order[0] else ""
            axes.set_title(f"{name}{own}", loc="left", fontsize=10)
            axes.set_ylim(-limit, limit)
        figure.supxlabel("engine speed, rpm", fontsize=10)
        figure.supylabel("lb-ft against the typical build", fontsize=10)
        figure.suptitle(f"What makes the curve of {found.sheet_id}", x=0.02, ha="left",
                        fontweight="bold", fontsize=13)  # fmt: skip
        figure.savefig(path, dpi=160, metadata=chart.METADATA[path.suffix.casefold()])
