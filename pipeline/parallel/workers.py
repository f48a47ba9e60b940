"""Who does the work: threads of this process, more processes, or a cluster of machines.

Every crew takes the same functions and gives the same results in the same order.
"""

from __future__ import annotations

import os
import re
import socket
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from multiprocessing import get_context
from threading import local
from typing import TYPE_CHECKING, Any, Protocol, TypeVar
from urllib.parse import urlsplit

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

Item = TypeVar("Item")
Result = TypeVar("Result")
_HERE = local()
#: Fewer pieces of work than this are done before a second process has started.
_WORTH_PROCESSES = 5
_SECONDS = 15
_ADDRESS = re.compile(r"(tcp|tls|ws|wss)://\S+:\d+$")


class Crew(Protocol):
    """Whoever does one thing to many pieces of work."""

    def each(
        self, work: Callable[[Item], Result], items: Sequence[Item]
    ) -> Iterator[Result]:  # pragma: no cover - a form
        """Yield what work gives for each item, in their order."""
        ...


class Threads:
    """A thread a core, each of which keeps to itself.

    Trees of some ten thousand readings do not gain by more than one thread, and two libraries that
    each start as many threads as there are cores wait for one another. So the pieces run side by
    side, and whatever works on one of them takes one thread.
    """

    def each(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        """Yield what work gives for each item, in their order."""
        from threadpoolctl import threadpool_limits  # noqa: PLC0415 - not for a look at one sheet

        with (
            threadpool_limits(1),
            ThreadPoolExecutor(max(1, min(len(items), os.cpu_count() or 1))) as pool,
        ):
            yield from pool.map(partial(_alone, work), items)


class Processes:
    """So many processes; the caller's main module must be importable where there are several."""

    def __init__(self, count: int) -> None:
        """Take so many."""
        self.count = count

    def each(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        """Yield what work gives for each item, in their order."""
        if self.count <= 1 or len(items) < _WORTH_PROCESSES:
            yield from map(work, items)
            return
        with ProcessPoolExecutor(min(self.count, len(items)), get_context("spawn")) as pool:
            yield from pool.map(work, items)


class Cluster:
    """The workers of a Dask cluster, which must have pullbook and see the same files."""

    def __init__(self, client: Any) -> None:
        """Take the workers that a client of `distributed` speaks to."""
        self._client = client

    def each(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        """Yield what work gives for each item, in their order."""
        futures = self._client.map(partial(_limited, work), list(items), pure=False)
        try:
            for future in futures:
                yield future.result()
        finally:
            self._client.cancel(futures)


@contextmanager
def cluster(address: str | None) -> Iterator[Cluster | None]:
    """Give the crew of a Dask scheduler while it is needed; ``None`` without an address.

    Raises
    ------
    InputError
        The extra ``cluster`` is not installed, or nobody answers at the address.

    """
    if address is None:
        yield None
        return
    if not _ADDRESS.match(address):
        msg = f"{address!r} is not the address of a scheduler, such as tcp://10.0.0.5:8786"
        raise InputError(msg)
    try:
        from distributed import Client  # noqa: PLC0415 - an extra
    except ImportError as fault:
        msg = "--cluster needs the package distributed: pip install 'pullbook[cluster]'"
        raise InputError(msg) from fault
    try:
        # A client that found nobody leaves its attempts behind; so a plain knock comes first.
        parts = urlsplit(address)
        socket.create_connection((parts.hostname, parts.port), timeout=_SECONDS).close()
        client: Any = Client(  # type: ignore[no-untyped-call]
            address, timeout=_SECONDS, set_as_default=False
        )
    except (OSError, ValueError) as fault:
        msg = f"no scheduler answers at {address}"
        raise InputError(msg) from fault
    with client:
        yield Cluster(client)


def threads() -> int:
    """Return how many threads a library may take here; 0 means as many as it likes."""
    return 1 if getattr(_HERE, "is_part", False) else 0


def _alone(work: Callable[[Item], Result], item: Item) -> Result:
    _HERE.is_part = True
    return work(item)


def _limited(work: Callable[[Item], Result], item: Item) -> Result:
    """Do a piece of work on a worker, which has threads of its own."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - not for a look at one sheet

    with threadpool_limits(1):
        return _alone(work, item)
