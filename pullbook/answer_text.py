"""An answer as a builder reads it in a terminal."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from model.answer import Answer, Between, Peak

_WIDTH = 79
_TOLD_MISSING = 4
_WORTH_TELLING = 0.01
CAUTION = (
    "A prediction is no release to run an engine at a speed or a load. Running an engine on a"
    " dyno is for people who are trained for it, behind a guard, within the limits of every part"
    " in it, and under the codes that apply where it stands."
)
_STANDING = {
    "inside": "inside what was tested",
    "edge": "at the edge of what was tested",
    "outside": "OUTSIDE what was tested: a guess, and the promise of the limits does not apply",
}
SUMMARY_HEAD = (
    f"{'build':24} {'standing':8} {'peak torque, lb-ft':>24} {'at rpm':>7}"
    f" {'peak power, hp':>22} {'at rpm':>7}"
)


def _wrap(text: str, indent: str = "  ") -> str:
    return textwrap.fill(text, _WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def _limits(value: Between, digits: int = 0) -> str:
    if value.low is None or value.high is None:
        return "no limits"
    return f"{value.low:.{digits}f} to {value.high:.{digits}f}"


def full(answer: Answer) -> str:
    """Return the whole answer about one build."""
    percent = f"{100 * answer.level:g} %"
    lines = [f"{answer.sheet_id}: {_STANDING[answer.standing.value]}"]
    lines += [_wrap(f"  - {reason.message}", "    ") for reason in answer.reasons]
    head = (
        f"{'rpm':>6}  {'lb-ft':>6}  {percent + ' limits':>16}  {'hp':>6}  {percent + ' limits':>16}"
    )
    lines += ["", head]
    for point in answer.curve:
        if point.supported:
            lines.append(
                f"{point.rpm:6.0f}  {point.torque.value:6.0f}  {_limits(point.torque):>16}"
                f"  {point.power.value:6.0f}  {_limits(point.power):>16}"
            )
        else:
            lines.append(f"{point.rpm:6.0f}       -  no sheet like this one was swept here")
    lines += ["", _peak("Peak torque", answer.peak_torque, "lb-ft")]
    lines += [_peak("Peak power", answer.peak_power, "hp"), ""]
    lines += [_wrap(_promise(answer)), _wrap(_missing(answer))]
    near = ", ".join(name for name, _ in answer.nearest)
    return "\n".join([*lines, _wrap(f"Nearest sheets: {near}"), ""])


def _peak(title: str, peak: Peak | None, unit: str) -> str:
    if peak is None:
        return f"{title}: no sheet like this one was swept over these rpm"
    if peak.at_end:
        return (
            f"{title:11} {peak.height.value:5.0f} {unit} ({_limits(peak.height)}) at"
            f" {peak.rpm.value:.0f} rpm, where what was tested ends: it may lie beyond"
        )
    return (
        f"{title:11} {peak.height.value:5.0f} {unit} ({_limits(peak.height)})"
        f" at {peak.rpm.value:.0f} rpm ({_limits(peak.rpm)})"
    )


def _promise(answer: Answer) -> str:
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


def _missing(answer: Answer) -> str:
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


def summary(answer: Answer) -> str:
    """Return one line about one build of many."""

    def cell(peak: Peak | None, width: int) -> str:
        if peak is None:
            return f"{'not swept':>{width}} {'':>7}"
        height = f"{peak.height.value:.0f} ({_limits(peak.height)})"
        return f"{height:>{width}} {peak.rpm.value:7.0f}"

    return (
        f"{answer.sheet_id[:24]:24} {answer.standing.value:8} {cell(answer.peak_torque, 24)}"
        f" {cell(answer.peak_power, 22)}"
    )


def closing(answers: Sequence[Answer]) -> str:
    """Return what stands below every answer."""
    told = answers[0].bundle
    source = f"From {told['sheets']} sheets of {told['shops']} shops (bundle {told['id']})."
    return f"{source}\n{_wrap(CAUTION, '')}"
