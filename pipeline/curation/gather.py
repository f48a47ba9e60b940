"""Judging many sources: in one process or several, and only what is new since the last time."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.pipeline.curation.checked_tables import Columns, Judged, frames_of, joined
from pullbook.pipeline.curation.read_contributed import columns_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from importlib.resources.abc import Traversable

    from pullbook.pipeline.parallel.workers import Crew

    Track = Callable[[Iterable[Judged]], Iterable[Judged]]

#: Sources that one process judges at a time.
_LOT = 400
_TABLES = ("sheets", "readings", "findings")


def gather(
    sources: Sequence[Path], crew: Crew, cache: Cache | None = None, track: Track = iter
) -> Judged:
    """Read and judge the sheets of sources, in their order.

    Parameters
    ----------
    sources
        As `read.find` lists them.
    crew
        Whoever reads and judges them.
    cache
        Where sheets judged before are kept; sources that did not change are taken from there.
    track
        Wraps the loop over lots of sources to show progress.

    """
    signatures = {str(source): _signature(source) for source in sources}
    known = None if cache is None else cache.load(signatures)
    seen = set() if known is None else set(known.sheets["source"])
    new = [source for source in sources if str(source) not in seen]
    parts = list(track(_judge(new, crew)))
    if known is not None:
        parts.append(known)
    if not parts:
        parts = [frames_of(Columns())]
    whole = joined(parts)
    order = pd.Categorical(whole.sheets["source"], categories=list(signatures)).codes
    whole = whole.take(np.argsort(order, kind="stable"))
    if cache is not None and (new or known is None or cache.has_more_than(known)):
        cache.save(whole, signatures)
    return whole


def _judge(sources: Sequence[Path], crew: Crew) -> Iterator[Judged]:
    return map(frames_of, crew.each(columns_of, list(_lots(sources))))


def _lots(sources: Sequence[Path]) -> Iterator[Sequence[Path]]:
    for start in range(0, len(sources), _LOT):
        yield sources[start : start + _LOT]


def _signature(source: Path) -> str:
    """Return what changes when a source does: sizes and times of its files."""
    files = sorted(source.glob("*.[cC][sS][vV]")) if source.is_dir() else [source]
    stats = []
    for file in files:
        try:
            stat = file.stat()
        except OSError:
            continue
        stats.append(f"{file.name} {stat.st_size} {stat.st_mtime_ns} {stat.st_ino}")
    return hashlib.sha256("\n".join(stats).encode()).hexdigest()


@dataclass(slots=True)
class Cache:
    """Sheets judged before, for one set of folders.

    What was judged by other code is not taken: the rules may have changed.

    Attributes
    ----------
    folder
        Where the tables lie.
    """

    folder: Path
    _held: int = 0

    @classmethod
    def of(cls, root: Path, places: Iterable[Path]) -> Cache:
        """Return the cache of a set of folders below a root."""
        named = "\n".join(sorted(str(place.resolve()) for place in places))
        return cls(root / hashlib.sha256(named.encode()).hexdigest()[:24])

    def load(self, signatures: dict[str, str]) -> Judged | None:
        """Return what is known of sources that did not change; ``None`` if nothing is."""
        try:
            if (self.folder / "code").read_text(encoding="ascii") != _code():
                return None
            tables = [pd.read_parquet(self.folder / f"{name}.parquet") for name in _TABLES]
            held = Judged(*tables)
            self._held = len(held.sheets)
            same = held.sheets["source"].map(signatures) == held.sheets["signature"]
            known = held.take(np.flatnonzero(same.to_numpy()))
        except (OSError, ValueError, KeyError):
            return None  # not there, or spoiled: everything is read anew
        known.sheets = known.sheets.drop(columns="signature")
        return known

    def has_more_than(self, known: Judged) -> bool:
        """Tell whether sources that were known have gone."""
        return self._held > len(known.sheets)

    def save(self, judged: Judged, signatures: dict[str, str]) -> None:
        """Keep what was judged; a cache that cannot be written is done without."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            (self.folder / "code").unlink(missing_ok=True)
            sheets = judged.sheets.assign(signature=judged.sheets["source"].map(signatures))
            for name, table in zip(
                _TABLES, (sheets, judged.readings, judged.findings), strict=True
            ):
                part = self.folder / f"{name}.{os.getpid()}"
                table.to_parquet(part, index=False)
                part.replace(self.folder / f"{name}.parquet")
            (self.folder / "code").write_text(_code(), encoding="ascii")
        except OSError:
            return


def _code() -> str:
    """Return a digest of the code that reads and judges, rooms within rooms included."""
    digest = hashlib.sha256()
    for package in ("pullbook.schemas", "pullbook.pipeline"):
        _add_code(digest, resources.files(package), package)
    return digest.hexdigest()


def _add_code(digest: hashlib._Hash, folder: Traversable, name: str) -> None:
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        inner = f"{name}/{entry.name}"
        if entry.is_dir():
            _add_code(digest, entry, inner)
        elif entry.name.endswith(".py"):
            digest.update(inner.encode() + entry.read_bytes())
