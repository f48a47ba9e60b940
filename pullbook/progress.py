"""Progress on the terminal, for loops that take more than a second or two."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

T = TypeVar("T")


def bar(title: str) -> Callable[[Iterable[T]], Iterable[T]]:
    """Return what wraps a loop to show a bar; where nobody watches, it shows nothing."""

    def wrap(loop: Iterable[T]) -> Iterable[T]:
        if not sys.stderr.isatty():
            return loop
        from rich.console import Console  # noqa: PLC0415 - only where there is a terminal
        from rich.progress import track  # noqa: PLC0415

        return track(loop, title, console=Console(stderr=True), transient=True)

    return wrap
