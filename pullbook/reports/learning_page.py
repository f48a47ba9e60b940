"""The learning curve of one's own tests, on the page about a model."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl

from pullbook.charts import drawing
from pullbook.text.model_text import NAMES

if TYPE_CHECKING:
    from pullbook.reports.document import Page


def add(made: Page, curve: dict[str, Any]) -> None:
    """Add how the error falls with one's own tests, and what more of them would likely bring."""
    made.heading("What more tests would bring")
    made.text(
        f"Each of the {curve['engines']} engines was predicted without its own tests, from fewer or"
        " more of the others. For more tests than there are the error is carried on as it fell; its"
        " range comes from drawing the engines anew. Tests of another kind of engine bring less."
    )
    rows = [
        [str(tests), f"{error:.1f}", "measured"]
        for tests, error in zip(curve["tests"], curve["error"], strict=True)
    ]
    rows += [
        [str(one["tests"]), f"{one['error']:.1f}", f"likely; {one['low']:.1f} to {one['high']:.1f}"]
        for one in curve["ahead"]
    ]
    made.table(["tests learned from", "error on engines left out, rms %", ""], rows)
    made.picture("model_learning.svg", drawing.svg_of(_picture(curve)), _alt(curve))


def _alt(curve: dict[str, Any]) -> str:
    last = curve["ahead"][-1]
    return (
        f"Error over the number of tests: {curve['error'][0]:.1f} % with {curve['tests'][0]},"
        f" {curve['error'][-1]:.1f} % with {curve['tests'][-1]}, likely {last['error']:.1f} % with"
        f" {last['tests']}."
    )


def _picture(curve: dict[str, Any]) -> Any:
    with mpl.rc_context(drawing.STYLE):
        figure, axes = drawing.panel(3.6)
        drawing.page_title(figure, "Error on engines never seen, by number of tests")
        ahead = curve["ahead"]
        axes.plot(curve["tests"], curve["error"], "o-", color=drawing.COLOURS[0], linewidth=2,
                  label=NAMES["predicted"])  # fmt: skip
        tests = [curve["tests"][-1], *(one["tests"] for one in ahead)]
        errors = [curve["error"][-1], *(one["error"] for one in ahead)]
        axes.plot(tests, errors, color=drawing.COLOURS[0], linestyle=drawing.LINES[3],
                  label="with more tests, likely")  # fmt: skip
        axes.fill_between(
            tests[1:], [one["low"] for one in ahead], [one["high"] for one in ahead],
            color=drawing.COLOURS[0], alpha=0.15, lw=0,
        )  # fmt: skip
        for at, (name, error) in enumerate(curve["rules"].items(), start=1):
            axes.axhline(error, color=drawing.COLOURS[at], linestyle=drawing.LINES[at],
                         label=NAMES[name])  # fmt: skip
        axes.set_ylim(bottom=0)
        axes.set_xlabel("tests learned from")
        axes.set_ylabel("error, rms % of torque")
        axes.legend(frameon=False, fontsize=9)
    return figure
