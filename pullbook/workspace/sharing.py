"""What would leave the folder, and the pack that may be sent."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from threading import Lock, Thread
from typing import TYPE_CHECKING, Any

from pullbook.schemas.errors import InputError, PullbookError
from pullbook.tasks import own_key, packs, process_beside
from pullbook.workspace.folder import SHARED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from pullbook.pipeline.privacy.contribute import Plan
    from pullbook.workspace.folder import Folder
    from pullbook.workspace.measured_tests import Reading

    #: What is done, and how many of how many.
    Step = tuple[str, int, int]

#: Stands in for a key where there is none yet: codes are different ones then.
_PREVIEW = b"a key for a preview"
#: Of so many sheets the plan is made while a page waits; of more of them beside it.
_AT_ONCE = 150
#: How far a plan is, is said once for so many.
_SAID = 20
#: The loops of a plan, in order.
_STEPS = ("Reading your files for sharing", "Working out what would leave")


@dataclass(slots=True)
class Sharing:
    """Sharing of a folder's sheets; the plan is made anew when a file changed.

    Attributes
    ----------
    waiting
        What is done of a plan that is made beside, and how many of how many; ``None`` where none
        is.
    """

    folder: Folder
    waiting: Step | None = None
    _kept: tuple[Reading, Plan] | None = None
    _fault: tuple[Reading, str] | None = None
    _starting: Lock = field(default_factory=Lock)
    _lock: Lock = field(default_factory=Lock)

    def plan(self) -> Plan | None:
        """Return what would be shared and what would be rejected; ``None`` without sheets."""
        from pullbook.pipeline.privacy import contribute

        reading = self.folder.tests.read()
        if not reading.tests:
            return None
        with self._lock:
            if self._kept is None or self._kept[0] is not reading:
                self._kept = (reading, contribute.plan(*self.asked()))
            return self._kept[1]

    def asked(self) -> tuple[list[Path], bytes, None, Path]:
        """Return what a plan is made of."""
        top = self.folder.top
        return [top], own_key.key_if_any() or _PREVIEW, None, top / SHARED

    def plan_soon(self) -> Plan | None:
        """Return the plan; ``None`` without sheets, and while one of many is made beside.

        Raises
        ------
        InputError
            It cannot be made.

        """
        reading = self.folder.tests.read()
        done = self._kept is not None and self._kept[0] is reading
        if done or len(reading.tests) <= _AT_ONCE:
            return self.plan()
        if self._fault is not None and self._fault[0] is reading:
            raise InputError(self._fault[1])
        with self._starting:
            if self.waiting is None:
                self.waiting = (_STEPS[0], 0, len(reading.tests))
                Thread(target=self._beside, args=(reading,), daemon=True).start()
        return None

    def _beside(self, reading: Reading) -> None:
        try:
            for found in process_beside.each(_plan, *self.asked()):
                if isinstance(found, tuple):
                    self.waiting = found
                else:
                    self._kept = (reading, found)
            if self._kept is None or self._kept[0] is not reading:
                self.plan()  # that process ended early
        except (PullbookError, OSError) as fault:
            self._fault = (reading, str(fault))
        finally:
            self.waiting = None

    def pack(self) -> tuple[Path, int]:
        """Write accepted sheets and one signed archive of them; return it and how many it holds.

        Raises
        ------
        InputError
            There is nothing to share, or sheets of several shops.

        """
        from pullbook.pipeline.privacy import contribute, key_file

        if self.plan() is None:
            msg = "there is no sheet to share"
            raise InputError(msg)
        path = key_file.default_path()
        key = own_key.key_of(path, make=True)
        into = self.folder.top / SHARED
        made = contribute.contribute([self.folder.top], into, key, None,
                                     key_file.Counts.beside(path))  # fmt: skip
        name = f"pack-{dt.datetime.now(tz=dt.UTC):%Y%m%d}.zip"
        shops = {entry.shop for entry in made.plan.accepted}
        self._kept = None
        return into / name, packs.pack(into, into / name, shops, key, path)


def _plan(say: Callable[[Step | Plan], None], *given: Any) -> None:
    """Say how far a plan is, and at last the plan."""
    from pullbook.pipeline.privacy import contribute

    steps = iter(_STEPS)

    def track(loop: Iterable[Any]) -> Iterator[Any]:
        items, step = list(loop), next(steps)
        for at, one in enumerate(items):
            if at % _SAID == 0:
                say((step, at, len(items)))
            yield one

    paths, key, settings, into = given
    say(contribute.plan(paths, key, settings, into, track))
