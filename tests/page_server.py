"""A page as tests open it: the real server on a port of its own, and a client with its key."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import httpx

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_PATIENCE = 60.0


@contextmanager
def opened(state: Path, folder: Path | None = None, *more: str) -> Iterator[str]:
    """Run `pullbook open` and return the address it prints; key and port are in ``state``."""
    words = [sys.executable, "-W", "error", "-m", "pullbook", "open", "--no-browser", *more]
    env = {**os.environ, "XDG_STATE_HOME": str(state / "state"),
           "XDG_CONFIG_HOME": str(state / "config"), "OMP_NUM_THREADS": "1"}  # fmt: skip
    with subprocess.Popen(
        [*words, *([] if folder is None else [str(folder)])], env=env, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    ) as process:  # fmt: skip
        try:
            address = process.stdout.readline().strip()
            assert address.startswith("http://127.0.0.1:"), process.stderr.read()
            yield address
        finally:
            process.terminate()
            process.wait(timeout=_PATIENCE)
            said = process.stderr.read()
        assert "Traceback" not in said, said


@contextmanager
def client(address: str) -> Iterator[httpx.Client]:
    """Return a client as a browser would be after it opened the address."""
    parts = urlsplit(address)
    with httpx.Client(
        base_url=f"http://{parts.netloc}", follow_redirects=True, timeout=_PATIENCE,
        headers={"Sec-Fetch-Site": "same-origin", "Origin": f"http://{parts.netloc}"},
    ) as made:  # fmt: skip
        made.get("/", params={"key": parts.query.removeprefix("key=")}, follow_redirects=False)
        yield made
