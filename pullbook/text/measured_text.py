"""A pull that was measured, over its prediction: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.model.answers.measured_pull import WHOLE
from pullbook.schemas.answer import Standing
from pullbook.text import prediction_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.measured_pull import Measured
    from pullbook.pipeline.values.sheet import Build
    from pullbook.text.units import Units

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
        said.append(
            f"The build stands {prediction_text.STANDING[prediction.standing.value]}: {why}."
        )
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
    found: Measured, before: Sequence[str], sheet: Build, manifest: Mapping[str, Any], units: Units
) -> str:
    """Return a measured pull over its prediction as lines for the terminal.

    ``before`` is what `first` says.
    """
    lines = [f"{sheet.sheet_id}: measured against predicted, at the reference condition", ""]
    lines += [prediction_text.wrap(line) for line in [*before, *verdict(found)]]
    lines += ["", f"{'rpm':>6}  {'measured':>9}  {'predicted':>9}  {'off, %':>7}  limits"]
    lines += [
        f"{rpm:>6}  {measured:>9}  {predicted:>9}  {off:>7}  {limits}"
        for rpm, measured, predicted, off, limits in rows(found, units)
    ]
    lines += [
        "",
        prediction_text.source(manifest),
        prediction_text.wrap(prediction_text.CAUTION, ""),
    ]
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
