"""The measured tests of a folder: read once, and again only where a file changed."""

from __future__ import annotations

import hashlib
import stat
from dataclasses import dataclass, field, replace
from functools import cached_property
from threading import Lock, Thread
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, checked_sheets, decisions
from pullbook.pipeline.reading import find_sheets
from pullbook.pipeline.settings import shop_settings

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.model.trained.pulls import Pull
    from pullbook.pipeline.checks.decisions import Question, State
    from pullbook.pipeline.values.sheet import RawSheet, Sheet

    Stamp = tuple[object, ...]

_CODE = 12
#: So many files are read while a page waits; more of them beside it.
_AT_ONCE = 150


@dataclass(slots=True)
class Test:
    """One measured test: its sheet as text, as typed and checked, and what became of it."""

    code: str
    raw: RawSheet
    sheet: Sheet
    state: State
    _pull: Pull | None = None

    @property
    def name(self) -> str:
        """The sheet's ID."""
        return self.sheet.sheet_id

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

    def named(self, name: str) -> list[Test]:
        """Return the tests with an ID."""
        return [test for test in self.tests.values() if test.name == name]

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
    _beside: Thread | None = None
    _done: int = 0
    _lock: Lock = field(default_factory=Lock)

    def read(self) -> Reading:
        """Return the tests as the files are now; where many are new, those of before meanwhile."""
        if self.folder is None:
            return Reading({})
        with self._lock:
            try:
                found = find_sheets.find([self.folder])
            except find_sheets.NothingToReadError:
                return Reading({})
            except OSError as fault:
                return Reading({}, fault=f"{self.folder} cannot be read: {fault.strerror}")
            stamps = self._stamps(found.sources)
            whole = tuple(stamps.items())
            if self._last is not None and self._last[0] == whole:
                return self._last[1]
            new = sum(source not in self._kept or self._kept[source][0] != stamp
                      for source, stamp in stamps.items())  # fmt: skip
            if new <= _AT_ONCE:
                self._last = (whole, self._read(stamps, found.passed_over))
                return self._last[1]
            return self._read_beside(stamps, found.passed_over)

    def _read_beside(self, stamps: dict[Path, Stamp], passed_over: list[Path]) -> Reading:
        """Begin to read in a thread, unless one does, and return the tests of before."""

        def work() -> None:
            try:
                self._last = (tuple(stamps.items()), self._read(stamps, passed_over))
            finally:
                self._beside = None

        if self._beside is None:
            self._done = 0
            self._beside = Thread(target=work, daemon=True)
            self._beside.start()
        before = Reading({}) if self._last is None else self._last[1]
        return replace(before, pending=(self._done, len(stamps)))

    def _stamps(self, sources: list[Path]) -> dict[Path, Stamp]:
        """Return for each source what changes when it, or the settings for it, do."""
        of_folder: dict[Path, Stamp] = {}
        found: dict[Path, Stamp] = {}
        for source in sources:
            own = _mark(source)
            folder = source if stat.S_ISDIR(own[1]) else source.parent
            if folder not in of_folder:
                of_folder[folder] = self._settings_for(folder)
            files = sorted(source.iterdir()) if folder is source else []
            found[source] = (own, *map(_mark, files), *of_folder[folder])
        return found

    def _settings_for(self, folder: Path) -> Stamp:
        """Return the marks of the settings files that count in a folder, found or not."""
        top = self.folder or folder
        folders = [one for one in (folder, *folder.parents) if one.is_relative_to(top)]
        return tuple(_mark(one / shop_settings.FILE) for one in folders)

    def _read(self, stamps: dict[Path, Stamp], passed_over: list[Path]) -> Reading:
        from pullbook.schemas.errors import InputError

        roots = [self.folder] if self.folder else []
        pairs: list[tuple[RawSheet, Sheet]] = []
        try:
            for source, stamp in stamps.items():
                kept = self._kept.get(source)
                if kept is None or kept[0] != stamp:
                    settings = shop_settings.beside(source, roots)
                    rules = check_sheet.SHEET_RULES
                    kept = (stamp, list(checked_sheets.of_source(source, rules, settings)))
                    self._kept[source] = kept
                pairs += kept[1]
                self._done += 1
        except InputError as fault:
            return Reading({}, passed_over, str(fault))
        sheets = checked_sheets.beside_one_another(pairs, check_sheet.SHEET_RULES)
        tests: dict[str, Test] = {}
        for (raw, _), sheet in zip(pairs, sheets, strict=True):
            code = _code(sheet, tests)
            tests[code] = Test(code, raw, sheet, decisions.state_of(sheet))
        return Reading(tests, passed_over)


def _mark(path: Path) -> tuple[str, int, int, int]:
    """Return what tells a file from the same one before it changed; zeros where it is not there."""
    try:
        seen = path.stat()
    except OSError:
        return str(path), 0, 0, 0
    return str(path), seen.st_mode, seen.st_mtime_ns, seen.st_size


def _code(sheet: Sheet, taken: dict[str, Test]) -> str:
    """Return a short name for an address that stays while file and sheet keep their names."""
    number = 0
    while True:
        text = f"{sheet.source}\n{sheet.sheet_id}\n{number}"
        code = hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:_CODE]
        if code not in taken:
            return code
        number += 1
