"""Making many small things at once without looking for cycles among them again and again."""

from __future__ import annotations

import gc
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def uncollected() -> Iterator[None]:
    """Put off the search for cyclic garbage: for work that makes none, and many objects."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
