"""Work in a process of its own, so that who waits for a page is not kept waiting."""

from __future__ import annotations

import multiprocessing
import os
import sys
from typing import TYPE_CHECKING, Any

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from multiprocessing.connection import Connection

_LOWER_PRIORITY = 10


def each(work: Callable[..., None], *given: Any) -> Iterator[Any]:
    """Yield what a function says in another process, as it comes.

    Less comes where that process ends early; who asks does the rest.

    Parameters
    ----------
    work
        A function of a module, which takes what sends one thing, and then what is given.
    given
        What it is called with besides.

    Raises
    ------
    InputError
        The function raised it.

    """
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_answer, args=(theirs, work), daemon=True)
    process.start()
    theirs.close()  # so that its end is the end of what comes
    try:
        ours.send(given)  # as an argument, a long list would wait for ever for one that ended
        while True:
            found = ours.recv()
            if isinstance(found, InputError):
                raise found
            yield found
    except (EOFError, OSError):
        return
    finally:
        ours.close()
        process.kill()
        process.join()


def _answer(asks: Connection, work: Callable[..., None]) -> None:
    """Call a function with what sends one thing, and with what comes first."""
    if os.name == "posix":
        os.nice(_LOWER_PRIORITY)  # who waits for a page comes first
    # What goes wrong here goes wrong again for who asks, and is told there.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())
    try:
        work(asks.send, *asks.recv())
    except InputError as fault:
        asks.send(InputError(str(fault)))
    except (EOFError, BrokenPipeError):  # who asked is gone
        return
