"""Separate the sweeps of one pull: a new sweep starts where the speed turns back."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import Reading

#: The speed has turned back when it goes back by this share of the range swept.
_TURN = 0.25
_FEWEST = 5


def split_sweeps(readings: list[Reading], number: int) -> tuple[list[Reading], list[Finding]]:
    """Number the sweeps of a pull, where its speed turns back.

    Parameters
    ----------
    readings
        Readings in the order of the file.
    number
        Number of the pull, which its first sweep keeps; 0 if it has none.

    Returns
    -------
    The readings with numbered sweeps, and a note on how they were read. Readings in no order stay
    one sweep.

    """
    speeds = [reading.rpm for reading in readings]
    if all(a <= b for a, b in pairwise(speeds)) or all(a >= b for a, b in pairwise(speeds)):
        return readings, []
    starts = [0, *_find_turns(speeds)]
    lengths = [b - a for a, b in pairwise([*starts, len(readings)])]
    if min(lengths) < _FEWEST or len(starts) == 1:
        message = "The rpm neither rises nor falls throughout; the readings were sorted by rpm."
        return readings, [Finding("unsorted-rpm", message, "rpm", readings[0].row)]
    out = list(readings)
    for sweep, (start, count) in enumerate(zip(starts, lengths, strict=True)):
        for place in range(start, start + count):
            # Sweeps of a numbered pull get numbers that no other pull has.
            pull = number + sweep if number == 0 else number + 1000 * sweep
            out[place] = readings[place]._replace(pull=pull)
    rows = ", ".join(str(readings[start].row) for start in starts[1:])
    message = f"The rpm turns back in row {rows}: read as {len(starts)} sweeps, up and down."
    return out, [Finding("several-sweeps", message, "rpm", readings[starts[1]].row)]


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
