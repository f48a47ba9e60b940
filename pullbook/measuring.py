"""A pull that was measured, over its prediction: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from model.measured import WHOLE
from model.standing import Standing
from pullbook import answer_sheet, answer_text

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.figure import Figure

    from model.measured import Measured
    from pipeline.sheet import Sheet
    from pullbook.page import Page
    from pullbook.unit_choice import Units

#: What is usually looked at first: common practice, no source, and no diagnosis.
CAUSES = {
    (WHOLE, "low"): (
        "the weather and the correction on the sheet; the dyno's calibration; total timing;"
        " compression and leak-down; fuel and mixture; throttle not fully open"
    ),
    (WHOLE, "high"): (
        "the weather and the correction on the sheet; the dyno's calibration; a unit of torque;"
        " displacement and compression as built"
    ),
    ("bottom", "low"): (
        "cam timing, retarded or too long; intake leaks; valve lash; ring seal; timing at low"
        " speed; a sweep that began before the engine had settled"
    ),
    ("top", "low"): (
        "valve springs and float; a restriction in air filter, carburetor or exhaust; fuel supply"
        " and a lean top end; misfire; cam timing, advanced"
    ),
    ("middle", "low"): (
        "mixture and timing over the middle of the sweep; an exhaust or intake that is tuned to"
        " another speed; knock control or a retarded map"
    ),
}
_OTHER = "what was built against what the build file says; a reading that drifted in the sweep"


def first(found: Measured, known: bool) -> list[str]:
    """Return what to know before the verdict: where the build stands, and what was left out."""
    said, prediction = [], found.found
    if prediction.standing is not Standing.INSIDE:
        why = "; ".join(reason.message for reason in prediction.reasons)
        said.append(f"The build stands {answer_text.STANDING[prediction.standing.value]}: {why}.")
    if known:
        said.append(
            "The model has learned from this sheet: that it fits says little of what it is worth."
        )
    if found.beyond:
        said.append(f"{found.beyond} readings lie where no such build was swept and are left out.")
    return said


def verdict(found: Measured) -> list[str]:
    """Return whether the pull lies inside, and if not where and what to look at."""
    percent = f"{100 * found.level:g} %"
    if found.inside is None:
        return [f"There are too few shops for limits at {percent}."]
    said = [
        f"The whole curve lies {'inside' if found.inside else 'NOT inside'} its {percent} limits;"
        f" on the mean it is {abs(found.whole.off):.1f} %"
        f" {'below' if found.whole.off < 0 else 'above'} the prediction."
    ]
    if found.where is None:
        if not found.inside:
            said.append("No part of it is off on the mean: single readings stand out.")
        return said
    part, way = found.where
    causes = CAUSES.get((part, way), _OTHER)
    said.append(
        f"The {part}{'' if part == WHOLE else ' of the sweep'} is {way}. Usually looked at first"
        f" (common practice, no diagnosis): {causes}."
    )
    return said


def text(
    found: Measured, before: Sequence[str], sheet: Sheet, told: dict[str, Any], units: Units
) -> str:
    """Return a measured pull over its prediction as lines for the terminal.

    ``before`` is what `first` says.
    """
    lines = [f"{sheet.sheet_id}: measured against predicted, at the reference condition", ""]
    lines += [answer_text.wrap(line) for line in [*before, *verdict(found)]]
    lines += ["", f"{'rpm':>6}  {'measured':>9}  {'predicted':>9}  {'off, %':>7}  limits"]
    lines += [
        f"{rpm:>6}  {measured:>9}  {predicted:>9}  {off:>7}  {limits}"
        for rpm, measured, predicted, off, limits in rows(found, units)
    ]
    lines += ["", answer_text.source(told), answer_text.wrap(answer_text.CAUTION, "")]
    return "\n".join(lines)


def rows(found: Measured, units: Units) -> list[list[str]]:
    """Return rpm, measured, predicted, how far off and the limits of every reading."""
    factor = units.shown(1.0, "lb-ft")
    made = []
    for at, rpm in enumerate(found.rpm.tolist()):
        limits, mark = "none", ""
        if found.low is not None and found.high is not None:
            limits = f"{factor * found.low[at]:.0f} to {factor * found.high[at]:.0f}"
            mark = "" if found.low[at] <= found.torque[at] <= found.high[at] else "  outside them"
        off = 100 * (found.torque[at] / found.predicted[at] - 1)
        torque = (factor * found.torque[at], factor * found.predicted[at])
        shown = [f"{one:.1f}" for one in torque]
        made.append([f"{rpm:.0f}", *shown, f"{off:+.1f}", limits + mark])
    return made


def figure(found: Measured, name: str, units: Units) -> Figure:
    """Return the measured pull over the prediction, and below how far off it is."""
    from pullbook import chart  # noqa: PLC0415 - for those who want a picture

    prediction = found.found
    drawn, (top, bottom) = chart.panels()
    factor = units.shown(1.0, "lb-ft")
    fine = np.linspace(found.rpm[0], found.rpm[-1], 160) if len(found.rpm) > 1 else found.rpm
    middle = factor * prediction.torque(fine)
    threshold = prediction.threshold("band", found.level)
    top.plot(fine, middle, color=chart.COLOURS[0], linewidth=2, label="predicted")
    if threshold is not None:
        ratio = np.exp(threshold * prediction.width(fine))
        top.fill_between(fine, middle / ratio, middle * ratio, color=chart.COLOURS[0], alpha=0.16,
                         linewidth=0)  # fmt: skip
        bottom.fill_between(fine, 100 * (1 / ratio - 1), 100 * (ratio - 1), color=chart.COLOURS[0],
                            alpha=0.16, linewidth=0)  # fmt: skip
    top.plot(found.rpm, factor * found.torque, "o", color=chart.COLOURS[1], markersize=5,
             label="measured")  # fmt: skip
    bottom.axhline(0, color=chart.GREY, linewidth=1)
    bottom.plot(found.rpm, 100 * (found.torque / found.predicted - 1), "o-",
                color=chart.COLOURS[1], markersize=4, linewidth=1)  # fmt: skip
    top.legend(frameon=False, fontsize=10, loc="best")
    top.set_ylabel(f"torque, {units.torque}")
    bottom.set_ylabel("measured, % off predicted")
    limits = f"shaded: {100 * found.level:g} % limits for the whole curve"
    chart.title(drawn, top, name, limits if threshold is not None else "no limits")
    return drawn


def page(
    found: Measured,
    before: Sequence[str],
    draw: Callable[[], Figure],
    sheet: Sheet,
    told: dict[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a measured pull; ``before`` is what `first` says."""
    said = verdict(found)
    alt = f"Measured torque over the predicted curve with its limits. {said[0]}"
    made = answer_sheet.begin(f"{sheet.sheet_id}: measured and predicted", draw, alt)
    made.heading("The answer")
    for line in [*before, *said]:
        made.text(line)
    made.table(["rpm", f"measured, {units.torque}", "predicted", "off, %", "limits"],
               rows(found, units))  # fmt: skip
    answer_sheet.builds(made, [sheet], units)
    return answer_sheet.close(made, told)
