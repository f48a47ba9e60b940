"""The folder that the page is opened on: where sheets, builds, models and packs are."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock

from pullbook.pipeline.settings import shop_settings
from pullbook.pipeline.storage import whole_writes
from pullbook.schemas.errors import InputError, must_exist
from pullbook.workspace.measured_tests import MeasuredTests

#: Names below the folder: what the page writes, and the command line reads.
BUILDS, MODELS, SHARED, INBOX, PARTS = "builds", "models", "shared", "sheets", "parts"


class FolderError(InputError):
    """What cannot be saved; the message says why and what to do."""


@dataclass(slots=True)
class Folder:
    """A person's folder.

    Attributes
    ----------
    path
        The folder; ``None`` where the page was opened on none.
    tests
        The sheets in it, read when they are asked for and again when a file changed.
    """

    path: Path | None
    tests: MeasuredTests = field(init=False)
    _lock: Lock = field(default_factory=Lock)

    def __post_init__(self) -> None:
        """Find the folder.

        Raises
        ------
        InputError
            It does not exist.

        """
        if self.path is not None:
            must_exist(self.path)
        self.tests = MeasuredTests(self.path)

    @property
    def top(self) -> Path:
        """The folder, where there is one to save in.

        Raises
        ------
        FolderError
            There is none.

        """
        if self.path is None:
            msg = "There is no folder to save in. Close this and run: pullbook open FOLDER"
            raise FolderError(msg)
        return self.path

    @property
    def settings(self) -> Path:
        """The shop's settings file."""
        return self.top / shop_settings.FILE

    @property
    def models(self) -> Path | None:
        """The record of models, if there is a model yet."""
        found = None if self.path is None else self.path / MODELS
        return found if found is not None and found.is_dir() else None

    def add_settings(self, lines: list[str]) -> None:
        """Add lines to the shop's settings file.

        Raises
        ------
        InputError
            One is no setting, or the file cannot be written.

        """
        from pullbook.pipeline.settings import add_setting

        with self._lock:
            try:
                add_setting.add(self.settings, lines)
            except OSError as fault:
                msg = f"{self.settings.name} could not be saved: {fault.strerror}"
                raise FolderError(msg) from fault

    def save_new(self, path: Path, data: bytes) -> Path:
        """Write a file whole or not at all, under another name where there is one already.

        Raises
        ------
        FolderError
            It cannot be written.

        """
        with self._lock:
            there = path
            for number in range(2, 1000):
                if not there.exists():
                    break
                if there.read_bytes() == data:
                    return there
                there = path.with_name(f"{path.stem}-{number}{path.suffix}")
            return self.save(there, data)

    def save(self, path: Path, data: bytes) -> Path:
        """Write a file whole or not at all.

        Raises
        ------
        FolderError
            It cannot be written: a full disk, or a folder that may not be written to.

        """
        try:
            whole_writes.write(path, data)
        except OSError as fault:
            msg = f"{path.name} could not be saved: {fault.strerror}. Nothing was changed."
            raise FolderError(msg) from fault
        return path
