"""Pause garbage collection while many small objects are made."""

from __future__ import annotations

import gc
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def uncollected() -> Iterator[None]:
    """Pause the search for cyclic garbage, for work that makes many objects and no cycles."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
