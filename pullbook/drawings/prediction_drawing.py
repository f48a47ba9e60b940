"""Predicted torque and power, described as a chart."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pullbook.drawings import beside_curves
from pullbook.drawings.chart import Chart, Curve, Mark, Panel, Region
from pullbook.text import load_text, prediction_text
from pullbook.text.prediction_text import PLACE
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.trained.pulls import Pull
    from pullbook.schemas.answer import Answer, Between, Peak
    from pullbook.words.units import Units

#: At which share of the line torque and power are named where both are on one pair of axes.
_TORQUE_AT, _POWER_AT = 0.14, 0.6


def of_answers(answers: Sequence[Answer], units: Units, pull: Pull | None = None) -> Chart:
    """Return torque, and below it power, of at most four builds with their limits.

    ``pull`` is drawn beside them as it was measured, at the standard that is shown.
    """
    alone = len(answers) == 1
    torque = _panel(answers, units, "torque", units.torque_axis, named=not alone)
    power = _panel(answers, units, "power", units.power_axis, named=False)
    below = [*notes(answers)]
    reached = pull_reach(answers[0]) if alone else None
    if reached is not None:
        torque, power = (
            replace(panel, regions=(reached, *panel.regions)) for panel in (torque, power)
        )
        below.append(f"grey: speeds that its pull reached, {reached.left:.0f} to"
                     f" {reached.right:.0f} rpm")  # fmt: skip
    below += load_notes(answers[0], units, marked=alone)
    if pull is not None:
        torque, power = (
            replace(panel, curves=(*panel.curves, beside_curves.measured(pull, units, what)))
            for panel, what in ((torque, "torque"), (power, "power"))
        )
        below.append(pull_note(pull, units))
    return Chart(_title(answers), tuple(below), (torque, power), _alt(answers, units))


def on_one_pair(
    answer: Answer, units: Units, band: tuple[float, float] | None = None, pull: Pull | None = None
) -> Chart:
    """Return torque and power of a build on one pair of axes; ``band`` is marked in grey.

    ``pull`` is drawn beside them as it was measured, at the standard that is shown.

    The peaks are named under the title: beside the curves one would hide the other.
    """
    torque = _curve(answer, units, "torque", 0, ("torque", _TORQUE_AT))
    power = replace(
        _curve(answer, units, "power", 1, ("power", _POWER_AT), right=True), filled=False
    )
    marks = [
        replace(mark, text="")
        for style, name in enumerate(("torque", "power"))
        if (mark := _mark(answer, units, name, style, right=name == "power")) is not None
    ]
    grey = () if band is None else (Region(*band, hatched=False),)
    lines = beside_curves.loads([answer], units, "torque")
    if pull is not None:
        lines += [beside_curves.measured(pull, units, what, right=what == "power")
                  for what in ("torque", "power")]  # fmt: skip
    panel = Panel(
        units.torque_axis, (torque, power, *lines), tuple(marks), (*grey, *untested([answer])),
        right_title=units.power_axis, same_scale=not units.metric,
    )  # fmt: skip
    peaks = _peak_texts(answer, units)
    below = ("; ".join(peaks),) if peaks else ()
    of_power = ("limits of power: thin dashed lines",) if answer.calibrated else ()
    below = (*below, *notes([answer]), *of_power, *load_notes(answer, units))
    if pull is not None:
        below = (*below, pull_note(pull, units))
    return Chart(_title([answer]), below, (panel,), _alt([answer], units))


def _title(answers: Sequence[Answer]) -> str:
    if len(answers) == 1:
        return f"{answers[0].sheet_id}: predicted torque and power"
    return "Predicted torque and power"


def _alt(answers: Sequence[Answer], units: Units) -> str:
    lines = "; ".join(
        f"{one.sheet_id}: {'; '.join(prediction_text.peaks(one, units))}" for one in answers
    )
    told = (line for a in answers for one in a.loads for line in load_text.verdict(one, a))
    return " ".join([f"Predicted torque and power over engine speed with limits. {lines}.", *told])


def notes(answers: Sequence[Answer]) -> tuple[str, ...]:
    """Return what answers are based on, and what the limits are."""
    first = answers[0]
    same = len({a.standing for a in answers}) == 1
    standing = f"; {PLACE[first.standing.value]}" if same else ""
    measured = first.measured if len(answers) == 1 else None
    pull = f", starting from the pull of {measured.sheet_id}" if measured is not None else ""
    invented = "invented " if first.bundle.get("invented") else ""
    limits = (
        f"shaded: {figures.level(first.level)} limits for a single reading"
        if first.calibrated
        else "no limits: too few shops or engines"
    )
    return (
        f"from {first.bundle['sheets']} {invented}sheets{pull}{standing}",
        f"at the flywheel; {limits}",
    )


def pull_reach(answer: Answer) -> Region | None:
    """Return the speeds that the pulls of a measured engine reached, if it is answered beyond."""
    told = answer.measured
    tested = [point.rpm for point in answer.curve if point.supported]
    if told is None or not tested or (told.sweep[0] <= tested[0] and tested[-1] <= told.sweep[1]):
        return None
    low, high = max(told.sweep[0], tested[0]), min(told.sweep[1], tested[-1])
    return Region(low, high, hatched=False) if low < high else None


def load_notes(answer: Answer, units: Units, *, marked: bool = True) -> list[str]:
    """Return what the loads are that are drawn."""
    short = marked and beside_curves.runs_below(answer)
    thick = ["thick solid line: where torque may not clear the load"] if short else []
    return [*beside_curves.notes([one.load for one in answer.loads], units), *thick]


def pull_note(pull: Pull, units: Units) -> str:
    """Return which pull is drawn, and at which standard."""
    return f"dash and dots: {pull.sheet.sheet_id} as measured, at {units.standard}"


def _panel(answers: Sequence[Answer], units: Units, what: str, title: str, *, named: bool) -> Panel:
    alone = len(answers) == 1
    curves, marks = [], []
    for at, answer in enumerate(answers):
        name = _legend(answer, units) if named else ""
        label = "" if alone else answer.sheet_id
        share = 0.12 + 0.8 * at / max(len(answers), 2)
        curves.append(_curve(answer, units, what, at, (label, share), name=name))
        mark = _mark(answer, units, what, at, right=False)
        if mark is not None:
            marks.append(mark if alone else Mark(mark.x, mark.y, "", at))
    curves += beside_curves.loads(answers, units, what)
    return Panel(title, tuple(curves), tuple(marks), untested(answers))


def _curve(
    answer: Answer,
    units: Units,
    what: str,
    style: int,
    named: tuple[str, float],
    *,
    right: bool = False,
    name: str = "",
) -> Curve:
    values = [_value(point, what, units) for point in answer.curve]
    known = [point.supported for point in answer.curve]

    def kept(numbers: Sequence[float | None]) -> tuple[float, ...]:
        return tuple(
            float("nan") if number is None or not tested else number
            for number, tested in zip(numbers, known, strict=True)
        )

    low = kept([one.low for one in values]) if answer.calibrated else ()
    high = kept([one.high for one in values]) if answer.calibrated else ()
    speeds = tuple(point.rpm for point in answer.curve)
    return Curve(speeds, kept([one.value for one in values]), low, high, style, *named, name,
                 right)  # fmt: skip


def _value(point: object, what: str, units: Units) -> Between:
    unit = "lb-ft" if what == "torque" else "hp"
    return units.between(getattr(point, what), unit)


def _peak(answer: Answer, units: Units, what: str) -> tuple[Peak | None, str]:
    if what == "torque":
        return units.peak(answer.peak_torque, "lb-ft"), units.torque
    return units.peak(answer.peak_power, "hp"), units.power


def _mark(answer: Answer, units: Units, what: str, style: int, *, right: bool) -> Mark | None:
    """Return the peak of a curve with its height and its engine speed."""
    peak, unit = _peak(answer, units, what)
    if peak is None:
        return None
    speeds = [point.rpm for point in answer.curve]
    share = (peak.rpm.value - speeds[0]) / max(speeds[-1] - speeds[0], 1.0)
    side = "start" if share < 0.25 else "end" if share > 0.75 else "middle"
    text = f"{peak.height.value:.0f} {unit} at {_where(peak, speeds)}"
    return Mark(peak.rpm.value, peak.height.value, text, style, side, right)


def _legend(answer: Answer, units: Units) -> str:
    """Return a build with its peaks: beside the curves the texts would overlap."""
    peaks = _peak_texts(answer, units)
    return f"{answer.sheet_id}: {'; '.join(peaks)}" if peaks else answer.sheet_id


def _peak_texts(answer: Answer, units: Units) -> list[str]:
    """Return the peaks of torque and power, each with its height and its engine speed."""
    speeds = [point.rpm for point in answer.curve]
    peaks = (_peak(answer, units, what) for what in ("torque", "power"))
    return [
        f"{peak.height.value:.0f} {unit} at {_where(peak, speeds)}"
        for peak, unit in peaks
        if peak is not None
    ]


def _where(peak: Peak, speeds: Sequence[float]) -> str:
    """Return the engine speed of a peak in words, or which way a curve goes at its end."""
    if not peak.at_end:
        return f"{figures.speed(peak.rpm.value)} rpm"
    rising = peak.rpm.value > (speeds[0] + speeds[-1]) / 2
    return f"{peak.rpm.value:.0f} rpm, {'still rising' if rising else 'falling from there'}"


def untested(answers: Sequence[Answer]) -> tuple[Region, ...]:
    """Return the engine speeds at which nothing like any of the builds was tested."""
    rpm = [p.rpm for p in answers[0].curve]
    bare = ~np.any([[p.supported for p in a.curve] for a in answers], axis=0)
    edges = np.flatnonzero(np.diff(np.r_[0, bare.astype(int), 0])).tolist()
    found = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        left = rpm[0] if start == 0 else (rpm[start - 1] + rpm[start]) / 2
        right = rpm[-1] if stop == len(rpm) else (rpm[stop - 1] + rpm[stop]) / 2
        found.append(Region(left, right, "not tested"))
    return tuple(found)
