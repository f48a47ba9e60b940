"""Rules for the readings: enough of them, consistent, and not the result of a fault."""

from __future__ import annotations

import math
from itertools import pairwise
from operator import itemgetter
from statistics import median
from typing import TYPE_CHECKING

from pullbook.pipeline.checks.field_rules import is_refused
from pullbook.pipeline.physics import engine_quantities
from pullbook.pipeline.physics.constants import CUBIC_INCH, LBFT, TORQUE_POWER_CONSTANT
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.values.sheet import Curve, Reading, Sheet

#: No petrol engine's pull ends below its idle (common practice, no source).
_SLOW_RPM = 1000.0
_ENOUGH_RPM = 5
#: Best brake mean effective pressure of a four-stroke engine, kPa: what is possible, from a worn
#: and restricted engine to a race engine on alcohol; and what is usual for natural aspiration.
_MEAN_PRESSURE = (300.0, 1750.0)
_USUAL_PRESSURE = (450.0, 1450.0)
_ATMOSPHERE_PSI = 14.696
_KPA_PER_PSI = 6.894757
#: Torque and power of one row may differ by this share plus half a horsepower of rounding.
_IDENTITY_SHARE = 0.015
_IDENTITY_HP = 0.5
#: A reading is a spike if it is this far, as a share, from the line between its neighbours and
#: this many times as far as the median reading of its pull.
_SPIKE, _TIMES = 0.09, 6.0
#: The first or last reading is left out if it is this far below the line of the next two.
_CUT = 0.25
#: Readings at one speed that differ by more, as a share, contradict each other.
_TWICE = 0.08
_GAP_RPM, _GAP_STEPS = 500.0, 3.0
#: Number of successive equal torques: of readings with decimals, and of readings without.
_STUCK, _STUCK_WHOLE = 4, 7
#: In whole numbers the top of a flat curve repeats as well, and goes on in steps of one or two.
_STUCK_FLAT, _STEPS = 12, 2.5
_ROUNDING = 1e-9
_WHOLE = 1e-6
#: Pulls of one sheet disagree if their mean torque differs by more than this share.
_DISAGREE = 0.04
#: Two pulls of an engine never differ by just a constant: then it is a correction, as a share.
_TIMES_CONSTANT, _CONSTANT = 0.006, 0.0015


def torque_of(torque: float | None, power: float | None, rpm: float) -> float | None:
    """Return the torque of a reading in lb-ft: as given, or worked out from its power."""
    if torque is not None or power is None:
        return torque
    return power * TORQUE_POWER_CONSTANT / rpm


def curves(sheet: Sheet) -> list[Curve]:
    """Return the pulls of a sheet as curves; an empty list if one of their columns is refused."""
    if sheet.curves is None:
        refused = any(is_refused(sheet, name) for name in ("rpm", "torque", "power"))
        sheet.curves = [] if refused else _make_curves(sheet.readings)
    return sheet.curves


def _make_curves(readings: list[Reading]) -> list[Curve]:
    of_pull: dict[int, Curve] = {}
    for reading in sorted(readings, key=itemgetter(1, 2)):
        torque = torque_of(reading.torque, reading.power, reading.rpm)
        if torque is not None:
            of_pull.setdefault(reading.pull, []).append((reading.rpm, torque, reading))
    return list(of_pull.values())


def enough_rpm(sheet: Sheet) -> Iterator[Finding]:
    """A pull has readings at five different rpm or more, not all of them below idle."""
    distinct = len({reading.rpm for reading in sheet.readings})
    if distinct < _ENOUGH_RPM and any(is_refused(sheet, name) for name in PULL_FIELDS):
        return  # the reason why there are so few is reported already
    if distinct == 0:
        message = "There is no table of rpm with torque or power. Add one."
        yield Finding("no-pull", message, "rpm")
    elif distinct < _ENOUGH_RPM:
        speeds = "speed was" if distinct == 1 else "speeds were"
        message = (
            f"Only {distinct} engine {speeds} read; a curve needs at least {_ENOUGH_RPM}."
            " Add readings."
        )
        yield Finding("too-few-rpm", message, "rpm")
    elif (highest := max(reading.rpm for reading in sheet.readings)) < _SLOW_RPM:
        message = (
            f"The pull ends at {highest:.0f} rpm, which is slow for a petrol engine. Check that the"
            " column of speeds is one, and its unit."
        )
        yield Finding("rpm-unusual", message, "rpm")


def identity(sheet: Sheet) -> Iterator[Finding]:
    """Power is torque times rpm divided by 5252.1 (lb-ft, hp)."""
    for row, _, rpm, torque, power in sheet.readings:
        if torque is None or power is None:
            continue
        expected = torque * rpm / TORQUE_POWER_CONSTANT
        if abs(power - expected) > _IDENTITY_SHARE * expected + _IDENTITY_HP:
            message = (
                f"{sheet.read('torque', torque, 1)} at {rpm:.0f} rpm is"
                f" {sheet.read('power', expected, 1)}, but row {row} has"
                f" {sheet.read('power', power, 1)}. Check the units of both columns."
            )
            yield Finding("torque-power-disagree", message, "power", row)


def mean_pressure(sheet: Sheet) -> Iterator[Finding]:
    """The best brake mean effective pressure of a pull is possible, and usual."""
    size_in3 = sheet.displacement
    torques = [torque for r in sheet.readings if (torque := torque_of(r.torque, r.power, r.rpm))]
    doubtful = any(is_refused(sheet, name) for name in (*engine_quantities.SIZE_FIELDS, "boost"))
    if size_in3 is None or not torques or doubtful:
        return
    volume = size_in3 * CUBIC_INCH
    best = max(torques) * LBFT
    kpa = float(engine_quantities.brake_mean_effective_pressure(best, volume)) / 1000
    natural = sheet.values.get("aspiration") in (None, "natural")
    low, high = _MEAN_PRESSURE
    high *= 1 + (sheet.number("boost") or 0.0) / _ATMOSPHERE_PSI
    impossible = not low <= kpa <= high
    if not impossible:
        low, high = _USUAL_PRESSURE
    if impossible or (natural and not low <= kpa <= high):
        top = sheet.read("torque", max(torques))
        inch = top.endswith(PULL_FIELDS["torque"].unit)
        unit, per = ("psi", _KPA_PER_PSI) if inch else ("kPa", 1.0)
        size = f"{size_in3 * CUBIC_INCH * 1e6:.0f} cc" if sheet.metric else f"{size_in3:.0f} cu in"
        given = sheet.number("boost")
        boost = "no boost given" if not given else f"{sheet.shown('boost', given)} of boost"
        message = (
            f"The best torque, {top} from {size}, is a mean"
            f" effective pressure of {kpa / per:.0f} {unit}. With {boost}, {low / per:.0f} to"
            f" {high / per:.0f} {unit} is {'possible' if impossible else 'usual'}. Check the units"
            " of torque, bore and stroke, and the number of cylinders."
        )
        yield Finding("mean-pressure" if impossible else "mean-pressure-unusual", message, "torque")


def spikes(sheet: Sheet) -> Iterator[Finding]:
    """A reading far from the line between its neighbours is left out of the curve."""
    for curve in curves(sheet):
        if len(curve) <= _ENOUGH_RPM or len({rpm for rpm, _, _ in curve}) < len(curve):
            continue
        off = _distances_from_line(curve)
        limit = max(_SPIKE, _TIMES * median(map(abs, off)))
        for at, (rpm, torque, reading) in enumerate(curve):
            here = off[at]
            around = [abs(off[n]) for n in (at - 1, at + 1) if 0 < n < len(curve) - 1]
            end = at in (0, len(curve) - 1)
            if (end and here > -_CUT) or (
                not end and (abs(here) <= limit or abs(here) < max(around))
            ):
                continue
            code = "spike" if here > 0 else "dropout"
            message = (
                f"{sheet.read('torque', torque)} at {rpm:.0f} rpm in row {reading.row} is"
                f" {100 * abs(math.expm1(here)):.0f} % {'above' if here > 0 else 'below'} the"
                " readings beside"
                " it; it was left out of the curve."
            )
            yield Finding(code, message, "torque", reading.row, f"{torque:.4g}")


def _distances_from_line(curve: Curve) -> list[float]:
    """Return the logarithmic distance of each torque from the line through its neighbours."""
    logs = [math.log(torque) for _, torque, _ in curve]
    speeds = [rpm for rpm, _, _ in curve]
    off = []
    for at in range(len(curve)):
        a, b = (at - 1, at + 1) if 0 < at < len(curve) - 1 else (1, 2) if at == 0 else (-3, -2)
        step = speeds[b] - speeds[a]
        slope = (logs[b] - logs[a]) / step if step else 0.0
        off.append(logs[at] - logs[a] - slope * (speeds[at] - speeds[a]))
    return off


def repeated(sheet: Sheet) -> Iterator[Finding]:
    """Readings of one pull at one speed agree."""
    for curve in curves(sheet):
        for (rpm, first, _), (again, second, reading) in pairwise(curve):
            if rpm == again and abs(second / first - 1) > _TWICE:
                message = (
                    f"{rpm:.0f} rpm was read twice in one pull: {sheet.read('torque', first)}, and"
                    f" {sheet.read('torque', second)} in row {reading.row}. If there are several"
                    " pulls, number them."
                )
                yield Finding("rpm-read-twice", message, "torque", reading.row)


def gaps(sheet: Sheet) -> Iterator[Finding]:
    """A sweep has no gaps."""
    for curve in curves(sheet):
        steps = [b[0] - a[0] for a, b in pairwise(curve)]
        limit = max(_GAP_RPM, _GAP_STEPS * median(steps)) if steps else 0.0
        for (low, _, _), (high, _, reading) in pairwise(curve):
            if high - low > limit:
                message = f"There are no readings between {low:.0f} and {high:.0f} rpm."
                yield Finding("sweep-gap", message, "rpm", reading.row)


def stuck(sheet: Sheet) -> Iterator[Finding]:
    """A sensor that shows the same torque at many speeds is stuck or at its limit."""
    for curve in curves(sheet):
        start, whole = 0, _in_whole_numbers(curve)
        for at in range(1, len(curve) + 1):
            held = curve[start][1]
            if at < len(curve) and abs(curve[at][1] - held) <= _ROUNDING * held:
                continue
            speeds = {rpm for rpm, _, _ in curve[start:at]}
            if len(speeds) >= (_STUCK_WHOLE if whole else _STUCK):
                beside = [abs(curve[i][1] - held) for i in (start - 1, at) if 0 <= i < len(curve)]
                if not whole or len(speeds) >= _STUCK_FLAT or max(beside, default=0.0) > _STEPS:
                    message = (
                        f"Torque is {sheet.read('torque', held, 1)} at {len(speeds)} speeds in a"
                        f" row, from {min(speeds):.0f} to {max(speeds):.0f} rpm. Check whether the"
                        " sensor was stuck or at its limit."
                    )
                    yield Finding("sensor-plateau", message, "torque", curve[start][2].row)
            start = at


def _in_whole_numbers(curve: Curve) -> bool:
    """Return whether torque was written without a decimal, in lb-ft or in N.m."""
    return any(
        all(abs(torque * unit - round(torque * unit)) <= _WHOLE for _, torque, _ in curve)
        for unit in (1.0, LBFT)
    )


def disagreeing(sheet: Sheet) -> Iterator[Finding]:
    """The pulls of one sheet agree with each other."""
    own = [curve for curve in curves(sheet) if len(curve) > 1]
    for curve in own[1:]:
        low, high = max(own[0][0][0], curve[0][0]), min(own[0][-1][0], curve[-1][0])
        if high <= low:
            continue
        speeds = [low + (high - low) * part / 8 for part in range(9)]
        differences = [math.log(_torque_at(curve, rpm) / _torque_at(own[0], rpm)) for rpm in speeds]
        mean = sum(differences) / len(differences)
        if abs(mean) > _TIMES_CONSTANT and max(differences) - min(differences) < _CONSTANT:
            message = (
                f"The pull from row {curve[0][2].row} on is the first one times"
                f" {math.exp(mean):.3f} at every speed: one of them seems to be corrected and the"
                " other observed. Keep the one in the correction of the sheet."
            )
            yield Finding("two-corrections", message, "pull", curve[0][2].row)
            continue
        if abs(mean) > _DISAGREE:
            message = (
                f"The pull from row {curve[0][2].row} on reads {100 * abs(mean):.1f} %"
                f" {'above' if mean > 0 else 'below'} the first pull. Check that both are of the"
                " same build."
            )
            yield Finding("pulls-disagree", message, "pull", curve[0][2].row)


def _torque_at(curve: Curve, rpm: float) -> float:
    """Return the torque of a pull at a speed, on the line between readings."""
    for (low, first, _), (high, second, _) in pairwise(curve):
        if low <= rpm <= high and high > low:
            return first + (second - first) * (rpm - low) / (high - low)
    return curve[0][1] if rpm <= curve[0][0] else curve[-1][1]
