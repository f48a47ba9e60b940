"""A prediction as a builder reads it in a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.text import caution_text
from pullbook.words import figures, promise
from pullbook.words.columns import WIDTH, columns
from pullbook.words.line_breaks import broken
from pullbook.words.units import label

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.schemas.answer import Answer, Between, Missing, Peak
    from pullbook.schemas.on_request import BandMean
    from pullbook.schemas.standing import Reason
    from pullbook.words.units import Units

_MOST_MISSING = 4
_WORTH_NAMING = 0.01
CAUTION = (
    "A prediction does not clear an engine to run at any speed or load. Run a dyno only if you are"
    " trained for it, behind a guard, within the limits of every part and by the local rules."
)
STANDING = {
    "inside": "inside the data",
    "edge": "at the edge of the data",
    "outside": "outside the data, so this is a guess and its limits may not hold",
}
#: The same for a table.
PLACE = {
    "inside": "inside the data",
    "edge": "at the edge of the data",
    "outside": "outside the data",
}
NOT_TESTED = "too few similar engines were tested at this speed"
#: Why a comparison in which a build outside the data takes part gives no chance.
NO_CHANCE = "outside the data, so no chance is given"
INVENTED = (
    "The engines behind this model are invented; this page only shows what an answer looks like."
)


def wrap(text: str, indent: str = "  ") -> str:
    """Return a text broken into lines that a terminal holds."""
    return "\n".join(broken(text, WIDTH, indent))


def limits(value: Between) -> str:
    """Return the limits of a value, or that there are none."""
    if value.low is None or value.high is None:
        return "no limits"
    return f"{value.low:.0f} to {value.high:.0f}"


def full(answer: Answer, units: Units) -> str:
    """Return the whole answer about one build."""
    percent = f"{figures.level(answer.level)} limits"
    lines = [wrap(line) for line in promise.first(answer)]
    lines.append(wrap(f"{answer.sheet_id}: {STANDING[answer.standing.value]}"))
    lines += [wrap(f"  - {reason}", "    ") for reason in reasons(answer.reasons, units)]
    head = f"{'rpm':>6}  {units.torque:>6}  {percent:>16}  {units.power:>6}  {percent:>16}"
    lines += [wrap(units.condition), "", head]
    for point in answer.curve:
        if point.supported:
            torque = units.between(point.torque, "lb-ft")
            power = units.between(point.power, "hp")
            lines.append(
                f"{point.rpm:6.0f}  {torque.value:6.0f}  {limits(torque):>16}"
                f"  {power.value:6.0f}  {limits(power):>16}"
            )
        else:
            lines.append(f"{point.rpm:6.0f}       -  {NOT_TESTED}")
    high = (*peaks(answer, units), *over_band(answer, units))
    high += (*caution_text.lines(answer.cautions, units),)
    lines += [*([""] if high else []), *map(wrap, high), ""]
    said = (
        *promise.start(answer, units),
        *widened(answer),
        *promise.family(answer),
        missing(answer.missing),
    )
    lines += [wrap(line) for line in said]
    near = ", ".join(name for name, _ in answer.nearest)
    return "\n".join([*lines, wrap(f"Nearest sheets: {near}"), ""])


def table(answer: Answer, units: Units, untested: str = NOT_TESTED) -> list[list[str]]:
    """Return the curve as rows: rpm, torque with its limits, power with its limits.

    ``untested`` stands where a speed has none.
    """
    rows = []
    for point in answer.curve:
        if not point.supported:
            rows.append([f"{point.rpm:.0f}", "", untested, "", ""])
            continue
        torque, power = units.between(point.torque, "lb-ft"), units.between(point.power, "hp")
        rows.append([f"{point.rpm:.0f}", f"{torque.value:.0f}", limits(torque),
                     f"{power.value:.0f}", limits(power)])  # fmt: skip
    return rows


def reasons(found: Sequence[Reason], units: Units) -> list[str]:
    """Return why a build is at the edge of the data or outside, a sentence a reason."""
    return [reason.worded(metric=units.metric) for reason in found]


def peaks(answer: Answer, units: Units) -> list[str]:
    """Return a line about the highest torque and one about the highest power, of several speeds."""
    if len(answer.curve) < 2:
        return []
    return [
        _peak("torque", answer, units.peak(answer.peak_torque, "lb-ft"), units.torque),
        _peak("power", answer, units.peak(answer.peak_power, "hp"), units.power),
    ]


def over_band(answer: Answer, units: Units) -> list[str]:
    """Return the means over the band that was asked for, and which part of it was tested."""
    return [] if answer.over_band is None else [mean(answer.over_band, units)]


def mean(found: BandMean, units: Units) -> str:
    """Return means over a band in words."""
    if found.tested is None:
        return f"Mean {figures.over(found.band)}: not given, none of it was tested"
    torque, power = units.between(found.torque, "lb-ft"), units.between(found.power, "hp")
    return (
        f"Mean {figures.over(found.tested, found.band)}: {torque.value:.0f} {units.torque}"
        f" ({limits(torque)}), {power.value:.0f} {units.power} ({limits(power)}), {units.standard}"
    )


def _peak(what: str, answer: Answer, peak: Peak | None, unit: str) -> str:
    title = f"Peak {what}"
    if peak is None:
        return f"{title}: not tested at any of these speeds"
    height = f"{peak.height.value:.0f} {unit} ({limits(peak.height)})"
    if peak.at_end:
        title = f"Most {what}"
        return f"{title}: {height}, at {peak.rpm.value:.0f} rpm, {end(answer, peak)}"
    span = "" if peak.rpm.low is None or peak.rpm.high is None else (
        f" ({figures.speed(peak.rpm.low)} to {figures.speed(peak.rpm.high)})")  # fmt: skip
    return f"{title}: {height}, at about {figures.speed(peak.rpm.value)} rpm{span}"


def end(answer: Answer, peak: Peak) -> str:
    """Return at which end of the speeds a curve is highest, and which way it goes there."""
    tested = [point.rpm for point in answer.curve if point.supported]
    first, last = answer.curve[0].rpm, answer.curve[-1].rpm
    middle = (tested[0] + tested[-1]) / 2 if tested else (first + last) / 2
    if peak.rpm.value < middle:
        asked = peak.rpm.value <= first
        where = "the speeds asked for start" if asked else "the data starts"
        return f"where {where}; falling from there, so the real peak may be lower down"
    where = "the speeds asked for stop" if peak.rpm.value >= last else "the data stops"
    return f"where {where}; still climbing, so the real peak is likely higher"


def widened(answer: Answer) -> list[str]:
    """Return by how much the limits of a build outside the data were widened."""
    if not answer.calibrated or answer.widened <= 1:
        return []
    whose = promise.whose(answer)
    return [
        f"{figures.level(answer.level)} limits for values measured on {whose}, made"
        f" {answer.widened:.1f} times as wide because the build is outside the data; how often they"
        " hold there is not known."
    ]


#: Why the limits of a peak are not those of the row at its speed.
PEAK_LIMITS = (
    "The limits of a peak are for the highest value over all these speeds, so they are not"
    " those of a single speed."
)


def missing(fields: Sequence[Missing]) -> str:
    """Return which fields are not given, and how much each would narrow the limits."""
    if not fields:
        return "Every field of the build is given."
    worth = worth_naming(fields)
    if worth:
        return f"Not given, and would narrow the limits most: {worth}."
    names = ", ".join(label(m.field) for m in fields[:_MOST_MISSING])
    more = f" and {len(fields) - _MOST_MISSING} more" if len(fields) > _MOST_MISSING else ""
    known = any(one.narrows is not None for one in fields)
    none = "; none of them alone would narrow the limits" if known else ""
    return f"Not given: {names}{more}{none}."


def worth_naming(fields: Sequence[Missing]) -> str:
    """Return the missing fields that would narrow the limits, with how much each would."""
    narrow = [m for m in fields if (m.narrows or 0.0) >= _WORTH_NAMING][:_MOST_MISSING]
    return ", ".join(
        f"{label(m.field)} (by about {figures.percents(100 * (m.narrows or 0.0))} %)"
        for m in narrow
    )


def short_peak(peak: Peak | None, *, at: str = " at ") -> str:
    """Return a peak for a table cell, marked where it is no peak but where the data stops."""
    if peak is None:
        return "not tested"
    if peak.at_end:
        return f"{peak.height.value:.0f}{at}{peak.rpm.value:.0f} (end)"
    return f"{peak.height.value:.0f}{at}{figures.speed(peak.rpm.value)}"


#: What stands below a table with such cells.
END_EXPLAINED = (
    "(end): no peak, but the highest value where the data or the speeds asked for stop. Do not"
    " compare such values where they stop at different speeds."
)


def summary(answers: Sequence[Answer], units: Units) -> str:
    """Return a table of many builds, a row a build."""
    torque, power = f"peak {units.torque}", f"peak {units.power}"
    heads = [torque, "limits", "at rpm", power, "limits", "at rpm", "data"]
    cells = [
        [*_cells(units.peak(one.peak_torque, "lb-ft")), *_cells(units.peak(one.peak_power, "hp")),
         one.standing.value]
        for one in answers
    ]  # fmt: skip
    made = columns("build", [one.sheet_id for one in answers], heads, cells)
    return "\n".join([wrap(units.condition), "", *made])


def _cells(peak: Peak | None) -> list[str]:
    """Return the height of a peak, its limits and its speed."""
    if peak is None:
        return ["-", "not tested", "-"]
    at = f"{peak.rpm.value:.0f} (end)" if peak.at_end else figures.speed(peak.rpm.value)
    return [f"{peak.height.value:.0f}", limits(peak.height), at]


def closing(answers: Sequence[Answer]) -> str:
    """Return what is printed once below all answers: what their limits mean, and the source."""
    lines = [*map(wrap, meaning(answers)), ""]
    return "\n".join([*lines, source(answers[0].bundle), wrap(CAUTION, "")])


def meaning(answers: Sequence[Answer]) -> list[str]:
    """Return what the limits of answers mean, each sentence once."""
    kept = (promise.promise(one) for one in answers if one.widened <= 1 or not one.calibrated)
    peaks = (peak for one in answers for peak in (one.peak_torque, one.peak_power))
    limited = any(peak is not None and peak.height.low is not None for peak in peaks)
    several = any(len(one.curve) > 1 for one in answers)
    return [*dict.fromkeys(kept), *([PEAK_LIMITS] if limited and several else [])]


def summary_foot(answers: Sequence[Answer]) -> list[str]:
    """Return what explains the table of `summary`."""
    peaks = [peak for one in answers for peak in (one.peak_torque, one.peak_power)]
    return [END_EXPLAINED] if any(peak is not None and peak.at_end for peak in peaks) else []


def source(manifest: Mapping[str, Any]) -> str:
    """Return what an answer is based on; ``manifest`` is the bundle's description of itself."""
    invented = "invented " if manifest.get("invented") else ""
    return (
        f"Based on {figures.counted(manifest['sheets'], f'{invented}sheet')} of"
        f" {figures.counted(manifest['shops'], f'{invented}shop')}"
        f" (model {manifest['id']})."
    )
