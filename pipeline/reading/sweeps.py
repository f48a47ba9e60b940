"""Sweeps of one pull: a speed that turns back begins a sweep of its own."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import Reading

#: A speed has turned back when it comes back by this share of the range swept.
_TURN = 0.25
_FEWEST = 5


def apart(readings: list[Reading], number: int) -> tuple[list[Reading], list[Finding]]:
    """Number the sweeps of a pull where its speed turns back.

    Parameters
    ----------
    readings
        In the order of the file.
    number
        Number of the pull, which its first sweep keeps; 0 where nothing tells it.

    Returns
    -------
    The readings, and the note that says what was read into their order. Readings in no order at
    all stay one sweep.

    """
    speeds = [reading.rpm for reading in readings]
    if all(a <= b for a, b in pairwise(speeds)) or all(a >= b for a, b in pairwise(speeds)):
        return readings, []
    starts = [0, *_turns(speeds)]
    lengths = [b - a for a, b in pairwise([*starts, len(readings)])]
    if min(lengths) < _FEWEST or len(starts) == 1:
        message = "the readings are in no rising or falling order and were sorted by rpm"
        return readings, [Finding("unsorted-rpm", message, "rpm", readings[0].row)]
    out = list(readings)
    for sweep, (start, count) in enumerate(zip(starts, lengths, strict=True)):
        for place in range(start, start + count):
            # A pull with a number of its own counts its sweeps beyond any other pull's.
            pull = number + sweep if number == 0 else number + 1000 * sweep
            out[place] = readings[place]._replace(pull=pull)
    rows = ", ".join(str(readings[start].row) for start in starts[1:])
    message = f"rpm turns back in row {rows}: {len(starts)} sweeps were read, up and down"
    return out, [Finding("several-sweeps", message, "rpm", readings[starts[1]].row)]


def _turns(speeds: list[float]) -> list[int]:
    """Return where each sweep but the first begins."""
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
            if turns[-1] == place:  # back in one step: which way the next sweep goes is open
                direction, start = 0, place
    return turns
