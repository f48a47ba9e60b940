"""The plug pulled at the n-th step of writing: killed there, or told that the disk is full."""

from __future__ import annotations

import errno
import os
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from pullbook.pipeline.storage import whole_writes

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Every way in which something is written, as the standard library itself calls it.
_STEPS = ("write", "fsync", "replace", "rename", "link", "unlink", "rmdir", "mkdir")


class KilledError(BaseException):
    """Stands for a kill: nothing catches it, and nothing is tidied up."""


class Plug:
    """Counts the steps of writing, and fails from the n-th on."""

    def __init__(self, at: int, *, kill: bool) -> None:
        """Fail at step ``at``: a killed process does nothing afterwards, a full disk stays full."""
        self.at, self.kill, self.steps, self.pulled = at, kill, 0, False

    def step(self, name: str) -> bool:
        """Count a step; return whether half of it is done, or raise."""
        self.steps += 1
        if self.steps <= self.at:
            return False
        first, self.pulled = not self.pulled, True
        if self.kill:
            return first and name == "write"
        if name in {"write", "fsync", "mkdir", "link"}:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return False


@contextmanager
def pulled(at: int, *, kill: bool) -> Iterator[Plug]:
    """Pull the plug at a step of whatever is written within."""
    plug = Plug(at, kill=kill)
    own = os.getpid()
    with pytest.MonkeyPatch.context() as patch:

        def failing(name: str, real):
            def act(*words, **more):
                if os.getpid() != own:
                    return real(*words, **more)
                half = plug.step(name)
                if plug.pulled and kill:
                    if half:
                        real(words[0], bytes(words[1])[: len(words[1]) // 2])
                    raise KilledError
                return real(*words, **more)

            return act

        for name in _STEPS:
            patch.setattr(os, name, failing(name, getattr(os, name)))
        patch.setattr(whole_writes, "exchange", failing("exchange", whole_writes.exchange))
        try:
            yield plug
        except (KilledError, OSError):
            if not plug.pulled:
                raise
