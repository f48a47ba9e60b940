"""Rules about the readings: enough of them, in order, and of an engine rather than of a fault."""

from __future__ import annotations

import math
from itertools import pairwise
from operator import itemgetter
from statistics import median
from typing import TYPE_CHECKING

from pullbook.pipeline.checks.field_rules import spoiled
from pullbook.pipeline.physics import engine_quantities
from pullbook.pipeline.physics.constants import CUBIC_INCH, LBFT, TORQUE_POWER_CONSTANT
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.values.sheet import Curve, Reading, Sheet

_ENOUGH_RPM = 5
#: Brake mean effective pressure, kPa, that a four-stroke engine reaches at its best: from tired
#: and choked to raced on alcohol, and what is usual of one that breathes naturally.
_MEAN_PRESSURE = (300.0, 1750.0)
_USUAL_PRESSURE = (450.0, 1450.0)
_ATMOSPHERE_PSI = 14.696
#: Torque and power of one row may differ by this share and by half a horsepower of rounding.
_IDENTITY_SHARE = 0.015
_IDENTITY_HP = 0.5
#: A reading this far, as a share, off the line between its neighbours is no engine's; and it is
#: that many times as far as the others of its pull.
_SPIKE, _TIMES = 0.09, 6.0
#: The first or last reading is cut off when it falls this far below where the curve was going.
_CUT = 0.25
#: Readings at one speed that differ by more, as a share, contradict one another.
_TWICE = 0.08
_GAP_RPM, _GAP_STEPS = 500.0, 3.0
#: Equal torques in a row: of readings with decimals, and of readings without.
_STUCK, _STUCK_WHOLE = 4, 7
_ROUNDING = 1e-9
#: Pulls of one sheet whose mean torque differs by more disagree.
_DISAGREE = 0.04


def torque_of(torque: float | None, power: float | None, rpm: float) -> float | None:
    """Return the torque of a reading, lb-ft: the one it gives, or the one its power means."""
    if torque is not None or power is None:
        return torque
    return power * TORQUE_POWER_CONSTANT / rpm


def curves(sheet: Sheet) -> list[Curve]:
    """Return the pulls of a sheet as curves; empty while a column of theirs is refused."""
    if sheet.curves is None:
        refused = any(spoiled(sheet, name) for name in ("rpm", "torque", "power"))
        sheet.curves = [] if refused else _curves(sheet.readings)
    return sheet.curves


def _curves(readings: list[Reading]) -> list[Curve]:
    of_pull: dict[int, Curve] = {}
    for reading in sorted(readings, key=itemgetter(1, 2)):
        torque = torque_of(reading.torque, reading.power, reading.rpm)
        if torque is not None:
            of_pull.setdefault(reading.pull, []).append((reading.rpm, torque, reading))
    return list(of_pull.values())


def enough_rpm(sheet: Sheet) -> Iterator[Finding]:
    """A pull has at least five distinct rpm with a reading."""
    distinct = len({reading.rpm for reading in sheet.readings})
    if distinct < _ENOUGH_RPM and any(spoiled(sheet, name) for name in PULL_FIELDS):
        return  # what is amiss was told, and is why there are so few
    if distinct == 0:
        yield Finding("no-pull", "there is no table of rpm with torque or power", "rpm")
    elif distinct < _ENOUGH_RPM:
        message = f"the pull has {distinct} distinct rpm; at least {_ENOUGH_RPM} make a curve"
        yield Finding("too-few-rpm", message, "rpm")


def identity(sheet: Sheet) -> Iterator[Finding]:
    """Torque times rpm is power: 5252.1 lb-ft rpm a horsepower."""
    for row, _, rpm, torque, power in sheet.readings:
        if torque is None or power is None:
            continue
        expected = torque * rpm / TORQUE_POWER_CONSTANT
        if abs(power - expected) > _IDENTITY_SHARE * expected + _IDENTITY_HP:
            message = (
                f"row {row}: {torque:.1f} lb-ft at {rpm:.0f} rpm is {expected:.1f} hp, and the"
                f" sheet says {power:.1f} hp; check the units of both columns"
            )
            yield Finding("torque-power-disagree", message, "power", row)


def mean_pressure(sheet: Sheet) -> Iterator[Finding]:
    """The best brake mean effective pressure of a pull is one an engine can have."""
    size_in3 = sheet.displacement
    torques = [torque for r in sheet.readings if (torque := torque_of(r.torque, r.power, r.rpm))]
    doubtful = any(spoiled(sheet, name) for name in (*engine_quantities.SIZE_FIELDS, "boost"))
    if size_in3 is None or not torques or doubtful:
        return
    volume = size_in3 * CUBIC_INCH
    best = max(torques) * LBFT
    kpa = float(engine_quantities.brake_mean_effective_pressure(best, volume)) / 1000
    natural = sheet.values.get("aspiration") in (None, "natural")
    low, high = _MEAN_PRESSURE
    high *= 1 + (sheet.number("boost") or 0.0) / _ATMOSPHERE_PSI
    cannot = not low <= kpa <= high
    if not cannot:
        low, high = _USUAL_PRESSURE
    if cannot or (natural and not low <= kpa <= high):
        message = (
            f"the best torque, {max(torques):.0f} lb-ft from {size_in3:.0f} in3,"
            f" is a mean effective pressure of {kpa:.0f} kPa; {low:.0f} to {high:.0f}"
            f" {'can be' if cannot else 'is usual'}: check the units of torque and of the"
            " engine's size, and the number of cylinders"
        )
        yield Finding("mean-pressure" if cannot else "mean-pressure-unusual", message, "torque")


def spikes(sheet: Sheet) -> Iterator[Finding]:
    """A reading far off the line between its neighbours is left out of the curve."""
    for curve in curves(sheet):
        if len(curve) <= _ENOUGH_RPM or len({rpm for rpm, _, _ in curve}) < len(curve):
            continue
        off = _off(curve)
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
                f"row {reading.row}: {torque:.0f} lb-ft at {rpm:.0f} rpm is {100 * abs(here):.0f} %"
                f" {'above' if here > 0 else 'below'} where the readings beside it point; the"
                " reading is left out"
            )
            yield Finding(code, message, "torque", reading.row, f"{torque:.4g}")


def _off(curve: Curve) -> list[float]:
    """Return how far each torque is, as a logarithm, off the line through its neighbours."""
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
                    f"row {reading.row}: {second:.0f} lb-ft at {rpm:.0f} rpm, where another row of"
                    f" the pull reads {first:.0f}; number the pulls if there are several"
                )
                yield Finding("rpm-read-twice", message, "torque", reading.row)


def gaps(sheet: Sheet) -> Iterator[Finding]:
    """A sweep has no hole in it."""
    for curve in curves(sheet):
        steps = [b[0] - a[0] for a, b in pairwise(curve)]
        limit = max(_GAP_RPM, _GAP_STEPS * median(steps)) if steps else 0.0
        for (low, _, _), (high, _, reading) in pairwise(curve):
            if high - low > limit:
                message = f"nothing was read between {low:.0f} and {high:.0f} rpm"
                yield Finding("sweep-gap", message, "rpm", reading.row)


def stuck(sheet: Sheet) -> Iterator[Finding]:
    """A sensor that says the same at one speed after another is stuck, or at its end."""
    for curve in curves(sheet):
        start, whole = 0, all(torque.is_integer() for _, torque, _ in curve)
        for at in range(1, len(curve) + 1):
            held = curve[start][1]
            if at < len(curve) and abs(curve[at][1] - held) <= _ROUNDING * held:
                continue
            if at - start >= (_STUCK_WHOLE if whole else _STUCK):
                speeds = {rpm for rpm, _, _ in curve[start:at]}
                if len(speeds) >= (_STUCK_WHOLE if whole else _STUCK):
                    message = (
                        f"torque is {held:.4g} lb-ft at {len(speeds)} speeds in a row, from"
                        f" {min(speeds):.0f} to {max(speeds):.0f} rpm: was the sensor stuck or at"
                        " its end?"
                    )
                    yield Finding("sensor-plateau", message, "torque", curve[start][2].row)
            start = at


def disagreeing(sheet: Sheet) -> Iterator[Finding]:
    """Pulls of one sheet tell of one engine."""
    own = [curve for curve in curves(sheet) if len(curve) > 1]
    for curve in own[1:]:
        low, high = max(own[0][0][0], curve[0][0]), min(own[0][-1][0], curve[-1][0])
        if high <= low:
            continue
        speeds = [low + (high - low) * part / 8 for part in range(9)]
        apart = [math.log(_at(curve, rpm) / _at(own[0], rpm)) for rpm in speeds]
        mean = sum(apart) / len(apart)
        if abs(mean) > _DISAGREE:
            message = (
                f"the pull from row {curve[0][2].row} reads {100 * abs(mean):.1f} %"
                f" {'above' if mean > 0 else 'below'} the first: is it of another build?"
            )
            yield Finding("pulls-disagree", message, "pull", curve[0][2].row)


def _at(curve: Curve, rpm: float) -> float:
    """Return the torque of a pull at a speed within it, along the line between readings."""
    for (low, first, _), (high, second, _) in pairwise(curve):
        if low <= rpm <= high and high > low:
            return first + (second - first) * (rpm - low) / (high - low)
    return curve[0][1] if rpm <= curve[0][0] else curve[-1][1]
