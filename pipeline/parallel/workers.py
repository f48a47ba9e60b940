"""Workers: threads of this process, more processes, or a cluster of machines.

All of them take the same functions and give the same results in the same order.
"""

from __future__ import annotations

import ipaddress
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
_ENCRYPTED = ("tls", "wss")
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
def cluster(address: str | None, *, insecure: bool = False) -> Iterator[Cluster | None]:
    """Connect to a Dask scheduler and yield its workers; ``None`` without an address.

    With TLS (``tls://`` or ``wss://``), the certificates are those of Dask's own settings
    (``distributed.comm.tls``). Without it only this machine is connected to, unless ``insecure``.

    Raises
    ------
    InputError
        The extra ``cluster`` is not installed, the address is not valid or in clear, certificates
        are missing, or no scheduler answers.

    """
    if address is None:
        yield None
        return
    if not _ADDRESS.match(address):
        msg = f"{address!r} is not the address of a scheduler; write it as tcp://10.0.0.5:8786"
        raise InputError(msg)
    parts = urlsplit(address)
    encrypted = parts.scheme in _ENCRYPTED
    if not (encrypted or insecure or _is_here(parts.hostname or "")):
        msg = (
            f"{address} is not encrypted: whoever can listen sees your sheets, and whoever can"
            " speak can run code. Use a scheduler with TLS (tls://...), or --insecure-cluster in a"
            " network of your own"
        )
        raise InputError(msg)
    try:
        from distributed import Client, Security  # noqa: PLC0415 - an extra
    except ImportError as error:
        msg = "a cluster needs the package distributed; run: pip install 'pullbook[cluster]'"
        raise InputError(msg) from error
    try:
        # A client that cannot connect leaves tasks running; so try a plain connection first.
        socket.create_connection((parts.hostname, parts.port), timeout=_SECONDS).close()
        client: Any = Client(  # type: ignore[no-untyped-call]
            address,
            timeout=_SECONDS,
            set_as_default=False,
            **_security(Security, encrypted=encrypted),
        )
    except (OSError, ValueError, TypeError) as error:
        tls = " and that distributed.comm.tls in Dask's settings names the certificates" * encrypted
        msg = f"no scheduler answers at {address}; check that it is running{tls}"
        raise InputError(msg) from error
    with client:
        yield Cluster(client)


def _is_here(host: str) -> bool:
    """Return whether a host is this machine, by its address and not by what a name leads to.

    >>> _is_here("127.0.0.1"), _is_here("::1"), _is_here("10.0.0.5"), _is_here("localhost.tern")
    (True, True, False, False)
    """
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _security(kind: Any, *, encrypted: bool) -> dict[str, Any]:
    return {"security": kind(require_encryption=True)} if encrypted else {}


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
