"""The most memory that this process has had, from a moment on."""

from __future__ import annotations

import resource
from contextlib import suppress
from pathlib import Path


def peak(*, anew: bool = False) -> float:
    """Return the most memory that this process has had, MB; ``anew`` counts from here on.

    Where the system cannot begin anew it is the most since the process began.
    """
    if anew:
        with suppress(OSError):
            Path("/proc/self/clear_refs").write_text("5")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
