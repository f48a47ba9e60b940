"""The most memory that this process has had, from a moment on."""

from __future__ import annotations

import re
import resource
from contextlib import suppress
from pathlib import Path

_SELF = Path("/proc/self")


def peak(*, anew: bool = False) -> float:
    """Return the most memory that this process has had, MB; ``anew`` counts from here on.

    Where the system cannot begin anew it is the most since the process began. (What the system
    counts for a process begins with what its parent had, so it is only the second choice.)
    """
    if anew:
        with suppress(OSError):
            (_SELF / "clear_refs").write_text("5")
    with suppress(OSError, TypeError):
        found = re.search(r"VmHWM:\s*(\d+) kB", (_SELF / "status").read_text())
        return int(found[1]) / 1000  # type: ignore[index]
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
