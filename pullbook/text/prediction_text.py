"""An answer as a builder reads it in a terminal."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.schemas.answer import Answer, Between, Peak
    from pullbook.text.units import Units

_WIDTH = 79
_TOLD_MISSING = 4
_WORTH_TELLING = 0.01
CAUTION = (
    "A prediction is no release to run an engine at a speed or a load. Running an engine on a"
    " dyno is for people who are trained for it, behind a guard, within the limits of every part"
    " in it, and under the codes that apply where it stands."
)
STANDING = {
    "inside": "inside what was tested",
    "edge": "at the edge of what was tested",
    "outside": "OUTSIDE what was tested: a guess, and the promise of the limits does not apply",
}


def summary_head(units: Units) -> str:
    """Return the headings above the lines of `summary`."""
    torque, power = f"peak torque, {units.torque}", f"peak power, {units.power}"
    return f"{'build':24} {'standing':8} {torque:>24} {'at rpm':>7} {power:>22} {'at rpm':>7}"


def wrap(text: str, indent: str = "  ") -> str:
    """Return a text broken into lines that a terminal holds."""
    return textwrap.fill(text, _WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def limits(value: Between, digits: int = 0) -> str:
    """Return the limits of a value, or that there are none."""
    if value.low is None or value.high is None:
        return "no limits"
    return f"{value.low:.{digits}f} to {value.high:.{digits}f}"


def full(answer: Answer, units: Units) -> str:
    """Return the whole answer about one build."""
    percent = f"{100 * answer.level:g} %"
    lines = [f"{answer.sheet_id}: {STANDING[answer.standing.value]}"]
    lines += [wrap(f"  - {reason.message}", "    ") for reason in answer.reasons]
    head = (
        f"{'rpm':>6}  {units.torque:>6}  {percent + ' limits':>16}"
        f"  {units.power:>6}  {percent + ' limits':>16}"
    )
    lines += ["", head]
    for point in answer.curve:
        if point.supported:
            torque = units.between(point.torque, "lb-ft")
            power = units.between(point.power, "hp")
            lines.append(
                f"{point.rpm:6.0f}  {torque.value:6.0f}  {limits(torque):>16}"
                f"  {power.value:6.0f}  {limits(power):>16}"
            )
        else:
            lines.append(f"{point.rpm:6.0f}       -  no sheet like this one was swept here")
    lines += ["", *peaks(answer, units), ""]
    lines += [wrap(promise(answer)), wrap(missing(answer))]
    near = ", ".join(name for name, _ in answer.nearest)
    return "\n".join([*lines, wrap(f"Nearest sheets: {near}"), ""])


def peaks(answer: Answer, units: Units) -> list[str]:
    """Return a line about the peak torque and one about the peak power."""
    return [
        _peak("Peak torque", units.peak(answer.peak_torque, "lb-ft"), units.torque),
        _peak("Peak power", units.peak(answer.peak_power, "hp"), units.power),
    ]


def _peak(title: str, peak: Peak | None, unit: str) -> str:
    if peak is None:
        return f"{title}: no sheet like this one was swept over these rpm"
    if peak.at_end:
        return (
            f"{title:11} {peak.height.value:5.0f} {unit} ({limits(peak.height)}) at"
            f" {peak.rpm.value:.0f} rpm, where what was tested ends: it may lie beyond"
        )
    return (
        f"{title:11} {peak.height.value:5.0f} {unit} ({limits(peak.height)})"
        f" at {peak.rpm.value:.0f} rpm ({limits(peak.rpm)})"
    )


def promise(answer: Answer) -> str:
    """Return what the limits of an answer promise."""
    if not answer.calibrated:
        return (
            f"Limits: none can be given at {100 * answer.level:g} %: the data are of"
            f" {answer.bundle['shops']} shops, which is too few for this level."
        )
    whose = "this shop" if answer.known_shop else "a shop that the data have never seen"
    promise = (
        f"Limits: of the values measured on such builds by {whose}, at least"
        f" {100 * answer.level:g} in 100 lie inside."
    )
    if answer.widened > 1:
        promise += f" Outside this does not hold; they were widened {answer.widened:.1f} times."
    return promise


def missing(answer: Answer) -> str:
    """Return what was not given, and what it is worth."""
    worth = [m for m in answer.missing if m.narrows is not None and m.narrows >= _WORTH_TELLING]
    if not answer.missing:
        return "Every field of the build is given."
    if worth:
        told = ", ".join(
            f"{m.field} (by about {100 * (m.narrows or 0):.0f} %)" for m in worth[:_TOLD_MISSING]
        )
        return f"Not given, and would narrow the limits most: {told}."
    told = ", ".join(m.field for m in answer.missing[:_TOLD_MISSING])
    more = (
        f" and {len(answer.missing) - _TOLD_MISSING} more"
        if len(answer.missing) > _TOLD_MISSING
        else ""
    )
    return f"Not given: {told}{more}; none would narrow the limits by itself."


def summary(answer: Answer, units: Units) -> str:
    """Return one line about one build of many."""

    def cell(peak: Peak | None, width: int) -> str:
        if peak is None:
            return f"{'not swept':>{width}} {'':>7}"
        height = f"{peak.height.value:.0f} ({limits(peak.height)})"
        return f"{height:>{width}} {peak.rpm.value:7.0f}"

    torque = cell(units.peak(answer.peak_torque, "lb-ft"), 24)
    power = cell(units.peak(answer.peak_power, "hp"), 22)
    return f"{answer.sheet_id[:24]:24} {answer.standing.value:8} {torque} {power}"


def closing(answers: Sequence[Answer]) -> str:
    """Return what stands below every answer."""
    return f"{source(answers[0].bundle)}\n{wrap(CAUTION, '')}"


def source(manifest: Mapping[str, Any]) -> str:
    """Return what an answer rests on; ``manifest`` is what the bundle says of itself."""
    invented = "invented " if manifest.get("invented") else ""
    return (
        f"From {manifest['sheets']} {invented}sheets of {manifest['shops']} {invented}shops"
        f" (bundle {manifest['id']})."
    )
