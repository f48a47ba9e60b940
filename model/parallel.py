"""Work on several parts at once: a thread a core, each of which keeps to itself.

Trees of some ten thousand readings do not gain by more than one thread, and two libraries that each
start as many threads as there are cores wait for one another. So the parts run side by side, and
whatever works on one of them takes one thread.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from threading import local
from typing import TYPE_CHECKING, Any, TypeVar

from threadpoolctl import threadpool_limits

if TYPE_CHECKING:
    from collections.abc import Callable

Result = TypeVar("Result")
_HERE = local()


def threads() -> int:
    """Return how many threads a library may take here; 0 means as many as it likes."""
    return 1 if getattr(_HERE, "is_part", False) else 0


def parts(work: Callable[[int], Result], count: int, track: Callable[..., Any]) -> list[Result]:
    """Return what work gives for each part, in their order.

    Parameters
    ----------
    work
        Takes the number of a part.
    count
        How many there are.
    track
        Wraps the loop over results to show progress.

    """

    def alone(number: int) -> Result:
        _HERE.is_part = True
        return work(number)

    with threadpool_limits(1), ThreadPoolExecutor(min(count, os.cpu_count() or 1)) as pool:
        waiting = [pool.submit(alone, number) for number in range(count)]
        return [one.result() for one in track(waiting)]
