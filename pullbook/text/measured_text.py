"""A measured pull against its prediction, as a builder reads it in a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.model.answers.measured_pull import WHOLE
from pullbook.pipeline.physics.reference_condition import route, weather_of
from pullbook.schemas.standing import Standing
from pullbook.text import prediction_text
from pullbook.words import figures
from pullbook.words.columns import columns

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.measured_pull import Measured
    from pullbook.pipeline.values.sheet import Build
    from pullbook.words.units import Units

#: Findings that the line of `corrected` tells.
CORRECTED = ("nominal-correction", "chassis-dyno")
#: What to check first: common practice, no source, and no diagnosis.
CAUSES = {
    (WHOLE, "low"): (
        "the weather and the correction on the sheet; the dyno's calibration; total timing;"
        " compression and leak-down; fuel and mixture; throttle not fully open"
    ),
    (WHOLE, "high"): (
        "the weather and the correction on the sheet; the dyno's calibration; the unit of torque;"
        " displacement and compression as built"
    ),
    ("bottom", "low"): (
        "cam timing too far retarded, or the cam too long; intake leaks; valve lash; ring seal;"
        " timing at low speed; a sweep started before the engine had settled"
    ),
    ("top", "low"): (
        "valve springs and float; a restriction in air filter, carburetor or exhaust; fuel supply"
        " and a lean top end; misfire; cam timing too far advanced"
    ),
    ("middle", "low"): (
        "mixture and timing over the middle of the sweep; an exhaust or intake that is tuned to"
        " another speed; knock control or a retarded map"
    ),
}
#: A measured torque and the one on the sheet are shown as one if they differ by less.
_SAME = 5e-4
_OTHER = "whether the engine was built as the sheet says; a reading that drifted in the sweep"


def first(found: Measured, known: bool, units: Units) -> list[str]:
    """Return what to know before the verdict: where the build lies, and what was left out."""
    prediction = found.found
    place = f"This build is {prediction_text.STANDING[prediction.standing.value]}"
    if prediction.standing is not Standing.INSIDE:
        why = "; ".join(prediction_text.reasons(prediction.reasons, units))
        place = f"{place}: {why}"
    lines = [
        f"{place}.",
        "This sheet was used to train the model, so a good match does not prove much."
        if known
        else "This sheet was not used to train the model.",
    ]
    if found.beyond:
        one = len(found.beyond) == 1
        speeds = figures.listed([f"{rpm:.0f}" for rpm in found.beyond])
        lines.append(
            f"{figures.counted(len(found.beyond), 'reading')} {'is' if one else 'are'} left out, at"
            f" {speeds} rpm: no build like this one was tested there."
        )
    return lines


def verdict(found: Measured) -> list[str]:
    """Return whether the pull lies inside the limits, and if not, where and what to check."""
    percent = f"{figures.level(found.level)}"
    if found.inside is None:
        return ["No limits: too few shops or engines could be held out."]
    off = figures.percents(abs(found.whole.off))
    lines = [
        f"The whole curve is {'inside' if found.inside else 'NOT inside'} its {percent} limits. On"
        f" average it is {off} % {'below' if found.whole.off < 0 else 'above'} the prediction."
    ]
    if found.where is None:
        if not found.inside:
            lines.append("No part of it is off on average: single readings are outside.")
        return lines
    part, way = found.where
    causes = CAUSES.get((part, way), _OTHER)
    lines.append(
        f"The {part}{'' if part == WHOLE else ' of the sweep'} is {way}. Check first (common"
        f" practice, no diagnosis): {causes}."
    )
    return lines


def text(
    found: Measured, before: Sequence[str], sheet: Build, manifest: Mapping[str, Any], units: Units
) -> str:
    """Return a measured pull against its prediction as lines for the terminal.

    ``before`` is what `first` returns.
    """
    lines = [
        f"{sheet.sheet_id}: measured against predicted, {units.torque_condition}",
        *(prediction_text.wrap(line) for line in [*units.converted, corrected(sheet, units)]),
    ]
    lines += ["", *(prediction_text.wrap(line) for line in [*before, *verdict(found)])]
    (rpm, *heads), table = headings(found, units), rows(found, units)
    lines += [
        "",
        *columns(rpm, [row[0] for row in table], heads, [row[1:] for row in table]),
        "",
        *(prediction_text.wrap(line) for line in meaning(found)),
        prediction_text.source(manifest),
        prediction_text.wrap(prediction_text.CAUTION, ""),
    ]
    return "\n".join(lines)


def corrected(sheet: Build, units: Units) -> str:
    """Return how the measured torque came to the standard that is shown."""
    way, stated = route(sheet.values), sheet.values["correction"]
    factor = way.factor * units.ratio
    wheels = sheet.values.get("dyno") == "chassis"
    flywheel = "from the wheels to the flywheel" if wheels else ""
    if stated == units.standard:
        brought = f", brought {flywheel} (times {factor:.3f})" if wheels else ""
        return f"Measured: the sheet's torque, already at {units.standard} on the sheet{brought}."
    with_what = (
        "by a nominal ratio, as the sheet has no weather"
        if weather_of(sheet.values) is None
        else "with the weather on the sheet"
    )
    also = f", and brought {flywheel}" if wheels else ""
    return (
        f"Measured: the sheet's torque ({stated}), corrected to {units.standard}"
        f" {with_what}{also} (times {factor:.3f})."
    )


def headings(found: Measured, units: Units) -> list[str]:
    """Return the headings over `rows`."""
    limits = f"{figures.level(found.level)} limits of the whole curve"
    return [
        "rpm", *([f"on the sheet, {units.torque}"] if is_corrected(found, units) else []),
        f"measured, {units.torque}",
        f"predicted, {units.torque}", "off, %", limits,
    ]  # fmt: skip


def is_corrected(found: Measured, units: Units) -> bool:
    """Return whether the measured torque that is shown is not the one on the sheet."""
    return abs(float(found.torque[0]) * units.ratio / float(found.on_sheet[0]) - 1) > _SAME


def meaning(found: Measured) -> list[str]:
    """Return what the limits of the whole curve mean; nothing where there are none."""
    if found.inside is None:
        return []
    return [
        f"About {figures.in_ten(found.level)} such pulls stay inside these limits over their whole"
        " sweep."
    ]


def rows(found: Measured, units: Units) -> list[list[str]]:
    """Return every reading: rpm, torque on the sheet if it differs, measured, predicted, limits."""
    factor = units.shown(1.0, "lb-ft")
    table = []
    for at, rpm in enumerate(found.rpm.tolist()):
        limits, mark = "no limits", ""
        if found.low is not None and found.high is not None:
            limits = f"{factor * found.low[at]:.0f} to {factor * found.high[at]:.0f}"
            mark = "" if found.low[at] <= found.torque[at] <= found.high[at] else "  outside them"
        off = 100 * (found.torque[at] / found.predicted[at] - 1)
        torque = (factor * found.torque[at], factor * found.predicted[at])
        own = [units.in_unit(found.on_sheet[at], "lb-ft")] if is_corrected(found, units) else []
        shown = [f"{one:.0f}" for one in (*own, *torque)]
        table.append([f"{rpm:.0f}", *shown, figures.difference(off), limits + mark])
    return table
