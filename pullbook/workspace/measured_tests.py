"""The measured tests of a folder: read once, and again only where a file changed."""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from threading import Lock, Thread
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets, decisions
from pullbook.pipeline.reading import find_sheets
from pullbook.pipeline.settings import shop_settings
from pullbook.schemas.errors import InputError
from pullbook.tasks import reading
from pullbook.text import check_text
from pullbook.workspace import file_marks
from pullbook.workspace.file_marks import mark

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pullbook.model.trained.pulls import Pull
    from pullbook.pipeline.checks.decisions import Question, State
    from pullbook.pipeline.values.sheet import RawSheet, Sheet
    from pullbook.workspace.file_marks import Mark

    Stamp = tuple[object, ...]

_CODE = 12
_AMISS = (decisions.State.MEND, decisions.State.UNREADABLE)
#: So many files are read while a page waits; more of them in a process beside it.
_AT_ONCE = 50


@dataclass(slots=True)
class Test:
    """One measured test: its sheet as text, as typed and checked, and what became of it."""

    code: str
    raw: RawSheet
    sheet: Sheet
    state: State
    _pull: Pull | None = None
    _words: str | None = None

    @property
    def name(self) -> str:
        """The sheet's ID."""
        return self.sheet.sheet_id

    @property
    def words(self) -> str:
        """All that a search looks through: its ID, its file and its fields, in small letters."""
        if self._words is None:
            file = self.sheet.source.rsplit("/", 1)[-1]
            every = (self.sheet.sheet_id, file, *self.sheet.values.values())
            self._words = " ".join(map(str, every)).casefold()
        return self._words

    @property
    def pull(self) -> Pull:
        """Its readings at the reference condition; none where the checks refuse it."""
        from pullbook.model.trained import pulls

        if self._pull is None:
            self._pull = pulls.of_sheet(self.sheet)
        return self._pull


@dataclass(frozen=True)
class Reading:
    """The tests of a folder as they were read.

    Attributes
    ----------
    tests
        The tests by their code in an address.
    passed_over
        Files that cannot be sheets.
    fault
        Why nothing could be read, if so: a settings file with a mistake.
    pending
        How many files are being read beside, and how many of them are done; these tests are those
        of before.
    """

    tests: dict[str, Test]
    passed_over: list[Path] = field(default_factory=list)
    fault: str = ""
    pending: tuple[int, int] | None = None

    @cached_property
    def questions(self) -> list[Question]:
        """What only the shop can decide."""
        return decisions.questions(test.sheet for test in self.tests.values())

    @cached_property
    def summary(self) -> list[str]:
        """How many are accepted, and what the others need."""
        return check_text.summary([test.sheet for test in self.tests.values()])

    @cached_property
    def families(self) -> list[str]:
        """The families of the tests."""
        named = {test.sheet.values.get("family") for test in self.tests.values()}
        return sorted(str(family) for family in named if family)

    @cached_property
    def amiss(self) -> list[Test]:
        """The tests that are no use yet, the ones to mend first."""
        return [test for test in self.tests.values() if test.state in _AMISS]

    @cached_property
    def accepted(self) -> list[Test]:
        """The tests that can be used."""
        return [test for test in self.tests.values() if test.sheet.accepted]

    @cached_property
    def names(self) -> list[str]:
        """The names of the tests that can be used, each once."""
        return list(dict.fromkeys(test.name for test in self.accepted))

    @cached_property
    def _by_name(self) -> dict[str, list[Test]]:
        found: dict[str, list[Test]] = {}
        for test in self.tests.values():
            found.setdefault(test.name, []).append(test)
        return found

    def named(self, name: str) -> list[Test]:
        """Return the tests with an ID."""
        return self._by_name.get(name, [])

    def of_engine(self, test: Test) -> list[Test]:
        """Return a test and, after it, the others of its engine, or with its name as measured."""
        engine, shop = (test.sheet.values.get(name) for name in ("engine", "shop"))
        others = [
            one
            for one in self.tests.values()
            if one is not test
            and engine is not None
            and one.sheet.values.get("engine") == engine
            and one.sheet.values.get("shop") == shop
        ]
        return [test, *others]


@dataclass(slots=True)
class MeasuredTests:
    """The tests of a folder.

    Attributes
    ----------
    folder
        The folder; ``None`` has no tests.
    """

    folder: Path | None
    _kept: dict[Path, tuple[Stamp, list[tuple[RawSheet, Sheet]]]] = field(default_factory=dict)
    _last: tuple[Stamp, Reading] | None = None
    _seen: frozenset[Mark] | None = None
    _beside: Thread | None = None
    _count: tuple[int, int] = (0, 0)
    _lock: Lock = field(default_factory=Lock)

    def read(self) -> Reading:
        """Return the tests as the files are now; where many are new, those of before meanwhile."""
        if self.folder is None:
            return Reading({})
        with self._lock:
            seen = file_marks.below(self.folder)
            if seen is not None and seen == self._seen and self._last is not None:
                return self._last[1]
            try:
                found = find_sheets.find([self.folder])
            except find_sheets.NothingToReadError:
                return Reading({})
            except OSError as fault:
                return Reading({}, fault=f"{self.folder} cannot be read: {fault.strerror}")
            stamps = self._stamps(found.sources)
            whole = tuple(stamps.values())
            if self._last is None or self._last[0] != whole:
                if self._beside is not None or len(self._new(stamps)) > _AT_ONCE:
                    self._seen = None
                    return self._read_beside(stamps, found.passed_over)
                self._last = (whole, self._read(stamps, found.passed_over))
            self._seen = seen
            return self._last[1]

    @property
    def progress(self) -> tuple[int, int] | None:
        """How many of how many files are read beside; ``None`` while none are."""
        return None if self._beside is None else self._count

    def _new(self, stamps: dict[Path, Stamp]) -> list[Path]:
        """Return the sources that were not read as they are now."""
        kept = self._kept
        return [one for one, stamp in stamps.items() if one not in kept or kept[one][0] != stamp]

    def _read_beside(self, stamps: dict[Path, Stamp], passed_over: list[Path]) -> Reading:
        """Begin to read in a process, unless one does, and return the tests of before."""

        def work() -> None:
            try:
                found = self._read(stamps, passed_over, self._from_process(stamps))
                self._last = (tuple(stamps.values()), found)
            finally:
                self._beside = None

        if self._beside is None:
            self._count = (0, len(stamps))
            self._beside = Thread(target=work, daemon=True)
            self._beside.start()
        before = Reading({}) if self._last is None else self._last[1]
        return replace(before, pending=self._count)

    def _from_process(self, stamps: dict[Path, Stamp]) -> Iterator[reading.Read]:
        """Yield what is new as a process reads it, and count it."""
        new, total = self._new(stamps), len(stamps)
        for number, one in enumerate(reading.beside(new, self.folder or new[0]), 1):
            self._count = (total - len(new) + number, total)
            yield one

    def _stamps(self, sources: list[Path]) -> dict[Path, Stamp]:
        """Return for each source what changes when it, or the settings for it, do."""
        of_folder: dict[str, Stamp] = {}
        found: dict[Path, Stamp] = {}
        for source in sources:
            own = mark(source)
            folder = str(source) if stat.S_ISDIR(own[1]) else os.path.dirname(source)  # noqa: PTH120 - of thousands, for each page
            if folder not in of_folder:
                of_folder[folder] = self._settings_for(Path(folder))
            files = sorted(source.iterdir()) if stat.S_ISDIR(own[1]) else []
            found[source] = (own, *map(mark, files), *of_folder[folder])
        return found

    def _settings_for(self, folder: Path) -> Stamp:
        """Return the marks of the settings files that count in a folder, found or not."""
        top = self.folder or folder
        folders = [one for one in (folder, *folder.parents) if one.is_relative_to(top)]
        return tuple(mark(one / shop_settings.FILE) for one in folders)

    def _read(
        self, stamps: dict[Path, Stamp], passed_over: list[Path], read: Iterable[reading.Read] = ()
    ) -> Reading:
        """Return the tests; what is not among those that were ``read`` is read here."""
        try:
            for source, pairs in read:
                self._kept[source] = (stamps[source], pairs)
            for source in self._new(stamps):
                self._kept[source] = (
                    stamps[source],
                    reading.read(source, self.folder or source)[1],
                )
        except InputError as fault:
            return Reading({}, passed_over, str(fault))
        pairs = [pair for source in stamps for pair in self._kept[source][1]]
        sheets = checked_sheets.beside_one_another(pairs, check_sheet.SHEET_RULES)
        tests: dict[str, Test] = {}
        for (raw, _), sheet in zip(pairs, sheets, strict=True):
            code = _code(sheet, tests)
            tests[code] = Test(code, raw, sheet, decisions.state_of(sheet))
        return Reading(tests, passed_over)


def _code(sheet: Sheet, taken: dict[str, Test]) -> str:
    """Return a short name for an address that stays while file and sheet keep their names."""
    number = 0
    while True:
        text = f"{sheet.source}\n{sheet.sheet_id}\n{number}"
        code = hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:_CODE]
        if code not in taken:
            return code
        number += 1
