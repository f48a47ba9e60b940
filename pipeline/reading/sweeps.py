"""Separate the sweeps of one pull, and leave out what is none: idling, aborted, coasting.

A new sweep starts where the speed turns back. A short piece beside a whole sweep was aborted; a
piece that comes down far below the sweep is the engine coasting; readings at an end with next to no
torque are the engine idling. They are left out, and that is said.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import Reading

#: The speed has turned back when it goes back by this share of the range swept.
_TURN = 0.08
_FEWEST = 5
#: A piece is aborted if it covers less than this share of the longest one's range.
_ABORTED = 0.6
#: A piece is coasting if its torque is below this share of the sweep's at the same speeds.
_COASTING = 0.7
#: A reading at an end is idling below this share of the median torque: no engine at full load falls
#: so far within its sweep (common practice, no source).
_IDLING = 0.4
#: Readings in no order turn in more places than this share of them.
_NO_ORDER = 0.25


def split_sweeps(
    readings: list[Reading], number: int, *, numbered: bool = False
) -> tuple[list[Reading], list[Finding]]:
    """Number the sweeps of a pull, where its speed turns back, and leave out what is no sweep.

    Parameters
    ----------
    readings
        Readings in the order of the file.
    number
        Number of the pull, which its first sweep keeps; 0 if it has none.
    numbered
        Whether a column of the table numbers the pulls: each is then taken by itself, and keeps its
        number.

    Returns
    -------
    The readings with numbered sweeps, and findings on how they were read. Readings in no order stay
    one sweep.

    """
    if numbered:
        of_pull: dict[int, list[Reading]] = {}
        for reading in readings:
            of_pull.setdefault(reading.pull, []).append(reading)
        done = [_split(own, pull, keep=True) for pull, own in of_pull.items()]
        return [r for own, _ in done for r in own], [f for _, found in done for f in found]
    return _split(readings, number, keep=False)


def _split(
    readings: list[Reading], number: int, *, keep: bool
) -> tuple[list[Reading], list[Finding]]:
    readings, out_of_line = _without_slips(readings)
    readings, findings = _without_idling(readings)
    findings = out_of_line + findings
    speeds = [reading.rpm for reading in readings]
    if all(a <= b for a, b in pairwise(speeds)) or all(a >= b for a, b in pairwise(speeds)):
        return readings, findings
    starts = [0, *_find_turns(speeds)]
    pieces = [readings[a:b] for a, b in pairwise([*starts, len(readings)])]
    if len(pieces) == 1 or len(pieces) - 1 > max(2, _NO_ORDER * len(readings)):
        return _unsorted(readings, findings)
    whole = _whole(pieces)
    if not whole or sum(map(len, whole)) < len(readings) / 2:
        return _unsorted(readings, findings)
    for piece in pieces:
        if piece not in whole:
            findings.append(_left_out(piece, _why(piece, whole)))
    if len(whole) > 1:
        rows = ", ".join(str(piece[0].row) for piece in whole[1:])
        message = f"The rpm turns back in row {rows}: read as {len(whole)} sweeps, up and down."
        findings.append(Finding("several-sweeps", message, "rpm", whole[1][0].row))
    if keep:
        return [reading for piece in whole for reading in piece], findings
    # Sweeps of a numbered pull get numbers that no other pull has.
    step = 1 if number == 0 else 1000
    return [
        reading._replace(pull=number + step * sweep)
        for sweep, piece in enumerate(whole)
        for reading in piece
    ], findings


def _without_slips(readings: list[Reading]) -> tuple[list[Reading], list[Finding]]:
    """Leave out readings whose speed alone is out of line, such as 350 between 3250 and 3750."""
    if len(readings) < _FEWEST:
        return readings, []
    kept, findings = [readings[0]], []
    for place in range(1, len(readings) - 1):
        here = readings[place].rpm
        around = [r.rpm for r in (*kept[-2:], *readings[place + 1 : place + 3])]
        low, high = sorted((kept[-1].rpm, readings[place + 1].rpm))
        far = min(abs(here - low), abs(here - high)) > _SLIP * high
        in_line = len(around) >= 3 and around in (sorted(around), sorted(around)[::-1])
        if not low <= here <= high and far and in_line and high - low < _SLIP * high:
            findings.append(_left_out([readings[place]], "the speed is out of line"))
        else:
            kept.append(readings[place])
    return [*kept, readings[-1]], findings


#: A speed is out of line if it is off by more than this share while its neighbours are closer.
_SLIP = 0.3


def _unsorted(
    readings: list[Reading], findings: list[Finding]
) -> tuple[list[Reading], list[Finding]]:
    message = "The rpm neither rises nor falls throughout; the readings were sorted by rpm."
    return readings, [*findings, Finding("unsorted-rpm", message, "rpm", readings[0].row)]


def _torque(reading: Reading) -> float:
    if reading.torque is not None:
        return reading.torque
    return (reading.power or 0.0) * TORQUE_POWER_CONSTANT / max(reading.rpm, 1.0)


def _without_idling(readings: list[Reading]) -> tuple[list[Reading], list[Finding]]:
    """Leave out readings at both ends with next to no torque."""
    if len(readings) <= _FEWEST:
        return readings, []
    least = _IDLING * median(_torque(reading) for reading in readings)
    start, end = 0, len(readings)
    while start < end and _torque(readings[start]) < least:
        start += 1
    while end > start and _torque(readings[end - 1]) < least:
        end -= 1
    if end - start < _FEWEST or end - start < len(readings) / 2:
        return readings, []
    gone = [piece for piece in (readings[:start], readings[end:]) if piece]
    return readings[start:end], [_left_out(piece, "next to no torque") for piece in gone]


def _left_out(piece: list[Reading], why: str) -> Finding:
    rows = f"row {piece[0].row}" if len(piece) == 1 else f"rows {piece[0].row} to {piece[-1].row}"
    message = (
        f"Left out of the sweep: {rows}, {piece[0].rpm:.0f} to {piece[-1].rpm:.0f} rpm ({why})."
    )
    return Finding("part-of-sweep", message, "rpm", piece[0].row)


def _span(piece: list[Reading]) -> float:
    speeds = [reading.rpm for reading in piece]
    return max(speeds) - min(speeds)


def _whole(pieces: list[list[Reading]]) -> list[list[Reading]]:
    """Return the pieces that are sweeps: long enough, and not coasting."""
    widest = max(_span(piece) for piece in pieces)
    long = [p for p in pieces if len(p) >= _FEWEST and _span(p) >= _ABORTED * widest]
    return [piece for piece in long if not _is_coasting(piece, long)]


def _is_coasting(piece: list[Reading], whole: list[list[Reading]]) -> bool:
    best = max(median(map(_torque, other)) for other in whole)
    return median(map(_torque, piece)) < _COASTING * best


def _why(piece: list[Reading], whole: list[list[Reading]]) -> str:
    return "coasting" if _is_coasting(piece, [*whole, piece]) else "an aborted sweep"


def _find_turns(speeds: list[float]) -> list[int]:
    """Return the places where a sweep starts, without the first."""
    least = _TURN * (max(speeds) - min(speeds))
    turns = []
    extreme, direction, start = 0, 0, 0
    for place, speed in enumerate(speeds):
        back = (speed - speeds[extreme]) * -direction
        if direction == 0:
            if abs(speed - speeds[start]) >= least:
                direction = 1 if speed > speeds[start] else -1
                extreme = place
        elif back < 0:
            extreme = place
        elif back >= least:
            turns.append(extreme + 1)
            direction, extreme = -direction, place
            if turns[-1] == place:  # back in one step: the next sweep may go either way
                direction, start = 0, place
    return turns
