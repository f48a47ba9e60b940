"""Hand a shop over from an old key to a new one, signed by the old.

What the old key signed up to then counts as the new one's; what it signs afterwards is refused. Two
hand-overs of one shop to different keys stop both: one of them is not the shop's.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.privacy import signatures
from pullbook.pipeline.privacy.refused_sheets import ACCEPTED, NAME_CHARS
from pullbook.pipeline.privacy.signatures import Signature, code_of
from pullbook.pipeline.storage import locks, regular_files, whole_writes
from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from pullbook.pipeline.privacy.signatures import Signer

#: Folder of a contribution that holds hand-overs, and their kind as signed things.
HANDED_OVER, KIND = "handed-over", "hand-over"
_FORMAT = "pullbook hand-over 1"
_KEY = re.compile(r"[0-9a-f]{64}")
#: Counts of a new key are later than all of an old one: each hand-over adds this.
_LATER = 10**15
_MOST_BYTES = 10_000


class HandOverError(InputError):
    """A hand-over that is not valid, or not signed by the old key."""


@dataclass(frozen=True, slots=True)
class HandOver:
    """A shop handed over: the new public key, and the signature of the old one."""

    new_key: str
    signature: Signature

    @property
    def old(self) -> str:
        """The code that the shop had."""
        return self.signature.code

    @property
    def new(self) -> str:
        """The code that the shop has from now on."""
        return code_of(self.new_key)

    def as_text(self) -> str:
        """Return it as the text of its file."""
        return signatures.record_text(_FORMAT, {"new_key": self.new_key}, self.signature)


def make(old: Signer, new: Signer, count: int) -> HandOver:
    """Return the hand-over of a shop, signed with its old key."""
    return HandOver(new.public_key, old.sign(KIND, count, new.public_key))


def read(path: Path) -> HandOver:
    """Read a hand-over and check its signature.

    Raises
    ------
    HandOverError
        The file is none, or its signature does not hold.
    InputError
        There is no such file.

    """
    must_exist(path)
    try:
        text = regular_files.read(path, _MOST_BYTES).decode()
        record, signature = signatures.read_record(text, _FORMAT, KIND, _signed)
    except signatures.NotSignedError as error:
        msg = f"{path} is not signed by the shop's old key, so nothing is handed over"
        raise HandOverError(msg) from error
    except (OSError, ValueError) as error:
        msg = f"{path} is no hand-over of a shop; make one with: pullbook hand-over"
        raise HandOverError(msg) from error
    return HandOver(str(record["new_key"]), signature)


def _signed(record: Mapping[str, Any]) -> str:
    """Return what is signed of a hand-over: the new public key."""
    key = str(record["new_key"])
    if not _KEY.fullmatch(key):
        raise ValueError(key)
    return key


def keep(one: HandOver, folder: Path) -> None:
    """Put a hand-over into a contribution, where `of_folders` finds it.

    Raises
    ------
    HandOverError
        The folder is no contribution.

    """
    if not (folder / ACCEPTED).is_dir():
        msg = f"{folder} is no contribution: there is no folder {ACCEPTED} in it"
        raise HandOverError(msg)
    name = f"{one.old[:NAME_CHARS]}-{one.new[:NAME_CHARS]}.json"
    with locks.inside(folder):
        (folder / HANDED_OVER).mkdir(exist_ok=True)
        whole_writes.write(folder / HANDED_OVER / name, one.as_text().encode())


@dataclass(slots=True)
class HandOvers:
    """The hand-overs that hold.

    Attributes
    ----------
    by_old
        Each by the code that the shop had.
    stopped
        Codes that were handed over to more than one key: these hand-overs do not count.
    """

    by_old: dict[str, HandOver] = field(default_factory=dict)
    stopped: list[str] = field(default_factory=list)

    def code(self, code: str) -> str:
        """Return the code that a shop has now."""
        seen = {code}
        while code in self.by_old and self.by_old[code].new not in seen:
            code = self.by_old[code].new
            seen.add(code)
        return code

    def count(self, code: str, count: int) -> int:
        """Return a count as one of the shop's latest key: each hand-over makes it later."""
        before = [old for old in self.by_old if self.code(old) == self.code(code)]
        steps, at = 0, code
        while at in self.by_old and steps <= len(before):
            at, steps = self.by_old[at].new, steps + 1
        return count + _LATER * (len(before) - steps)

    def came_after(self, code: str, count: int) -> bool:
        """Return whether an old key signed something after it was handed over."""
        return code in self.by_old and count > self.by_old[code].signature.count


def of_folders(folders: Iterable[Path]) -> HandOvers:
    """Return the hand-overs in contributions; files there that are none are passed over."""
    found: dict[str, dict[str, HandOver]] = {}
    for folder in folders:
        for path in sorted((folder / HANDED_OVER).glob("*.json")):
            try:
                one = read(path)
            except HandOverError:
                continue
            found.setdefault(one.old, {})[one.new] = one
    made = HandOvers()
    for old, ways in found.items():
        if len(ways) == 1:
            made.by_old[old] = next(iter(ways.values()))
        else:
            made.stopped.append(old)
    return made
