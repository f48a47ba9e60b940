"""Workers: threads of this process, more processes, or a cluster of machines.

All of them take the same functions and give the same results in the same order.
"""

from __future__ import annotations

import os
import re
import socket
from contextlib import contextmanager
from functools import partial
from threading import local
from typing import TYPE_CHECKING, Any, Protocol, TypeVar
from urllib.parse import urlsplit

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

Item = TypeVar("Item")
Result = TypeVar("Result")
_HERE = local()
#: Fewer items than this are finished before a second process has started.
_WORTH_PROCESSES = 5
_SECONDS = 15
_ADDRESS = re.compile(r"(tcp|tls|ws|wss)://\S+:\d+$")


class Crew(Protocol):
    """Anything that can apply a function to many items."""

    def each(
        self, work: Callable[[Item], Result], items: Sequence[Item]
    ) -> Iterator[Result]:  # pragma: no cover - a protocol
        """Yield ``work(item)`` for each item, in order."""
        ...


class Threads:
    """One thread per core; libraries called from it use one thread each.

    Trees on some ten thousand readings do not get faster with more than one thread, and two
    libraries that each start one thread per core block each other. So the items run in parallel,
    each with one thread.
    """

    def each(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        """Yield ``work(item)`` for each item, in order."""
        with one_thread():
            single = partial(_run_single_threaded, work)
            yield from _side_by_side("threading", os.cpu_count() or 1, single, items)


class Processes:
    """A number of processes, kept for the next call; what they are given must be picklable."""

    def __init__(self, count: int) -> None:
        """Use ``count`` processes."""
        self.count = count

    def each(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        """Yield ``work(item)`` for each item, in order."""
        if self.count <= 1 or len(items) < _WORTH_PROCESSES:
            yield from map(work, items)
            return
        yield from _side_by_side("loky", self.count, work, items)


def _side_by_side(
    backend: str, most: int, work: Callable[[Item], Result], items: Sequence[Item]
) -> Iterator[Result]:
    from joblib import Parallel, delayed  # noqa: PLC0415 - not needed to check a few sheets

    # With one job the caller's own thread would do the work, and keep its mark as a part.
    jobs = max(2, min(len(items), most))
    parallel = Parallel(n_jobs=jobs, backend=backend, return_as="generator", batch_size=1)
    yield from parallel(delayed(work)(item) for item in items)


class Cluster:
    """The workers of a Dask cluster; they need pullbook installed and access to the same files."""

    def __init__(self, client: Any) -> None:
        """Use the workers of a `distributed` client."""
        self._client = client

    def each(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        """Yield ``work(item)`` for each item, in order."""
        futures = self._client.map(partial(_run_on_worker, work), list(items), pure=False)
        try:
            for future in futures:
                yield future.result()
        finally:
            self._client.cancel(futures)


@contextmanager
def cluster(address: str | None) -> Iterator[Cluster | None]:
    """Connect to a Dask scheduler and yield its workers; ``None`` without an address.

    Raises
    ------
    InputError
        The extra ``cluster`` is not installed, the address is not valid, or no scheduler answers.

    """
    if address is None:
        yield None
        return
    if not _ADDRESS.match(address):
        msg = f"{address!r} is not the address of a scheduler; write it as tcp://10.0.0.5:8786"
        raise InputError(msg)
    try:
        from distributed import Client  # noqa: PLC0415 - an extra
    except ImportError as error:
        msg = "a cluster needs the package distributed; run: pip install 'pullbook[cluster]'"
        raise InputError(msg) from error
    try:
        # A client that cannot connect leaves tasks running; so try a plain connection first.
        parts = urlsplit(address)
        socket.create_connection((parts.hostname, parts.port), timeout=_SECONDS).close()
        client: Any = Client(  # type: ignore[no-untyped-call]
            address, timeout=_SECONDS, set_as_default=False
        )
    except (OSError, ValueError) as error:
        msg = f"no scheduler answers at {address}; check that it is running"
        raise InputError(msg) from error
    with client:
        yield Cluster(client)


@contextmanager
def one_thread() -> Iterator[None]:
    """Let libraries of linear algebra use one thread: small matrices are no faster with more."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - not needed to check a few sheets

    with threadpool_limits(1):
        yield


def threads() -> int:
    """Return the number of threads a library may use here; 0 means no limit."""
    return 1 if getattr(_HERE, "is_part", False) else 0


def _run_single_threaded(work: Callable[[Item], Result], item: Item) -> Result:
    _HERE.is_part = True
    return work(item)


def _run_on_worker(work: Callable[[Item], Result], item: Item) -> Result:
    """Apply a function to an item on a cluster worker, with one thread."""
    with one_thread():
        return _run_single_threaded(work, item)
