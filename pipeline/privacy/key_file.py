"""The contributor's key on disk: made whole or not at all, read with care, backed up and restored.

Beside the key lies a file with the last count that each shop of the key has signed. It only rises:
whoever keeps the data set tells a later sheet from an earlier one by it.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pullbook.pipeline.storage import locks, regular_files, whole_writes
from pullbook.schemas.errors import InputError

#: A key that we make is 32 random bytes, written as hexadecimal digits.
_BYTES = 32
_LEAST_CHARS, _LEAST_KINDS = 32, 8
#: Most bytes of a key, of its counts and of a backup.
_MOST_BYTES = 10_000_000
_HEX = re.compile(rb"[0-9a-fA-F]+")
#: What a restored backup adds to its counts: sheets signed since the backup have lower ones.
RESTORED = 1_000_000
_COUNTS = ".counts"
_FORMAT = "pullbook key backup 1"


class KeyFileError(InputError):
    """A key file that cannot be used or written; the message says what to do."""


def default_path() -> Path:
    """Return the path of the contributor's key in the user's configuration folder."""
    import platformdirs  # noqa: PLC0415 - only where no key file is named

    return platformdirs.user_config_path("pullbook") / "contributor.key"


def read(path: Path, *, open_to_others: bool = False) -> bytes:
    """Return the key in a file.

    Parameters
    ----------
    path
        The file.
    open_to_others
        Whether a file that other users of the machine can read is taken.

    Raises
    ------
    KeyFileError
        The file cannot be read, others can read it, or what is in it is no whole key.

    """
    try:
        mode = path.stat().st_mode
        key = regular_files.read(path, _MOST_BYTES).strip()
    except OSError as error:
        msg = f"the key file {path} cannot be read: {error.strerror or error}"
        raise KeyFileError(msg) from error
    if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO) and not open_to_others:
        msg = (
            f"other users of this machine can read the key file {path}; whoever has the key can"
            f" speak as your shop. Run: chmod 600 {path} (or set PULLBOOK_OPEN_KEY=yes to use it as"
            " it is)"
        )
        raise KeyFileError(msg)
    _check(key, path)
    return key


def _check(key: bytes, path: Path) -> None:
    """Refuse what is no whole key."""
    what = ""
    if not key:
        what = "is empty"
    elif len(set(key)) == 1:
        what = "holds one character over and over, which is no key"
    elif _HEX.fullmatch(key) and len(key) != 2 * _BYTES:
        what = f"holds {len(key)} of the {2 * _BYTES} characters of a key; it was partly written"
    elif len(key) < _LEAST_CHARS or len(set(key)) < _LEAST_KINDS:
        what = f"is too short or too simple; a key has at least {_LEAST_CHARS} characters"
    if what:
        msg = (
            f"the key file {path} {what}. Restore it with pullbook restore-key, or remove the file"
            " to have a new key made; sheets contributed with the old key can then no longer be"
            " replaced or withdrawn"
        )
        raise KeyFileError(msg)


def make(path: Path, *, open_to_others: bool = False) -> bytes:
    """Return the key in a file; where there is none, make one with mode 0600.

    The file appears whole or not at all, and never in the place of another: of many that make one
    at once, all return the same key.

    Raises
    ------
    KeyFileError
        The file cannot be written or read.

    """
    if not path.exists():
        _write_new(path, f"{secrets.token_hex(_BYTES)}\n".encode())
    return read(path, open_to_others=open_to_others)


def _write_new(path: Path, data: bytes) -> bool:
    """Write a private file unless it exists; return whether it was written."""
    part = path.with_name(f".{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        whole_writes.write_new(part, data, mode=0o600)
        try:
            os.link(part, path)  # fails if there is one by now
        except FileExistsError:
            return False
        finally:
            part.unlink(missing_ok=True)
        whole_writes.sync_folder(path.parent)
    except OSError as error:
        msg = f"the key file {path} cannot be written: {error.strerror}"
        raise KeyFileError(msg) from error
    return True


@dataclass(slots=True)
class Counts:
    """The last count that each shop of a key has signed.

    Attributes
    ----------
    path
        The file they are kept in; ``None`` keeps them in memory, for a preview.
    known
        Count and name by the shop's code.
    """

    path: Path | None = None
    known: dict[str, dict[str, Any]] = field(default_factory=dict)

    @classmethod
    def beside(cls, key_file: Path) -> Counts:
        """Return the counts of a key, which lie beside its file."""
        return cls(key_file.with_name(f"{key_file.name}{_COUNTS}"))

    def take(self, code: str, name: str, number: int, after: int = 0) -> range:
        """Return the next counts of a shop and record them, so that none is used twice.

        Parameters
        ----------
        code, name
            The shop.
        number
            How many counts are needed.
        after
            A count known to have been used: they come after it, even if the file was lost.

        Raises
        ------
        KeyFileError
            The file cannot be read or written.

        """
        if self.path is None:
            return self._taken(code, name, number, after)
        try:
            with locks.beside(self.path):
                self.known = self.read()
                taken = self._taken(code, name, number, after)
                self._save()
        except (OSError, locks.BusyError) as error:
            msg = f"the file {self.path} beside the key cannot be written: {error}"
            raise KeyFileError(msg) from error
        return taken

    def _taken(self, code: str, name: str, number: int, after: int) -> range:
        last = max(after, int(self.known.get(code, {}).get("count", 0)))
        self.known[code] = {"name": name, "count": last + number}
        return range(last + 1, last + number + 1)

    def read(self) -> dict[str, dict[str, Any]]:
        """Return count and name by code, as they are in the file.

        Raises
        ------
        KeyFileError
            The file is damaged.

        """
        if self.path is None or not self.path.exists():
            return {}
        try:
            found = json.loads(regular_files.read(self.path, _MOST_BYTES))
            return {str(code): {"name": str(one["name"]), "count": int(one["count"])}
                    for code, one in found.items()}  # fmt: skip
        except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
            msg = (
                f"the file {self.path} beside the key is damaged. Restore key and counts from your"
                " backup with pullbook restore-key"
            )
            raise KeyFileError(msg) from error

    def _save(self) -> None:
        path = self.path
        if path is None:
            return
        text = json.dumps(self.known, indent=1, ensure_ascii=False)
        whole_writes.write_text(path, text, mode=0o600)


def back_up(path: Path, into: Path) -> None:
    """Write a key and its counts to one private file, never over another.

    Raises
    ------
    KeyFileError
        The key cannot be read, or the file exists or cannot be written.

    """
    key = read(path, open_to_others=True)
    record = {
        "format": _FORMAT, "key": key.decode("utf-8", "surrogateescape"),
        "counts": Counts.beside(path).read(),
    }  # fmt: skip
    if not _write_new(into, json.dumps(record, indent=1).encode()):
        msg = f"{into} exists already; name another file for the backup"
        raise KeyFileError(msg)


def restore(backup: Path, path: Path) -> None:
    """Write the key of a backup, never over another, with counts beyond all that it ever signed.

    Raises
    ------
    KeyFileError
        The backup cannot be read, or there is another key already.

    """
    try:
        record = json.loads(regular_files.read(backup, _MOST_BYTES))
        key = str(record["key"]).encode("utf-8", "surrogateescape")
        counts = {str(code): {"name": str(one["name"]), "count": int(one["count"]) + RESTORED}
                  for code, one in record["counts"].items()}  # fmt: skip
        sound = record["format"] == _FORMAT
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        msg = f"{backup} is no backup of a key; make one with: pullbook backup-key"
        raise KeyFileError(msg) from error
    if not sound:
        msg = f"{backup} is a backup of another version of pullbook; update pullbook to restore it"
        raise KeyFileError(msg)
    _check(key, backup)
    if not _write_new(path, key + b"\n") and read(path, open_to_others=True) != key:
        msg = f"{path} holds another key; move it away first, it is not written over"
        raise KeyFileError(msg)
    kept = Counts.beside(path)
    with locks.beside(kept.path or path):
        for code, one in kept.read().items():
            if one["count"] > counts.get(code, {}).get("count", 0):
                counts[code] = one
        kept.known = counts
        kept._save()
