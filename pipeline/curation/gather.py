"""Read and check many sources, in one process or several; unchanged ones come from a cache."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.pipeline.curation.checked_tables import CheckedTables, Columns, frames_of, join
from pullbook.pipeline.curation.read_contributed import columns_of
from pullbook.pipeline.storage import locks, plain_text, whole_writes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from importlib.resources.abc import Traversable

    from pullbook.pipeline.parallel.workers import Crew

    Reader = Callable[[Sequence[Path]], Columns]
    Track = Callable[[Iterable[CheckedTables]], Iterable[CheckedTables]]

#: Sources that one process checks at a time.
_LOT = 400
_TABLES = ("sheets", "readings", "findings")


def gather(
    sources: Sequence[Path],
    workers: Crew,
    cache: Cache | None = None,
    track: Track = iter,
    reader: Reader = columns_of,
) -> CheckedTables:
    """Read and check the sheets of sources, in their order.

    Parameters
    ----------
    sources
        Sources, as `find_sheets.find` lists them.
    workers
        Workers that read and check them.
    cache
        Sheets that were checked before; sources that did not change are taken from there.
    track
        Wraps the loop over lots of sources to show progress.
    reader
        Reads and checks some sources: contributed ones, unless told otherwise.

    """
    signatures = {plain_text.one_line(str(source)): _signature(source) for source in sources}
    known = None if cache is None else cache.load(signatures)
    seen = set() if known is None else set(known.sheets["source"])
    new = [source for source in sources if plain_text.one_line(str(source)) not in seen]
    parts = list(track(_check(new, workers, reader)))
    if known is not None:
        parts.append(known)
    if not parts:
        parts = [frames_of(Columns())]
    whole = join(parts)
    order = pd.Categorical(whole.sheets["source"], categories=list(signatures)).codes
    whole = whole.take(np.argsort(order, kind="stable"))
    if cache is not None and (new or known is None or cache.has_more_than(known)):
        cache.save(whole, signatures)
    return whole


def _check(sources: Sequence[Path], workers: Crew, reader: Reader) -> Iterator[CheckedTables]:
    return map(frames_of, workers.each(reader, list(_split_lots(sources))))


def _split_lots(sources: Sequence[Path]) -> Iterator[Sequence[Path]]:
    for start in range(0, len(sources), _LOT):
        yield sources[start : start + _LOT]


def _signature(source: Path) -> str:
    """Return a digest of the sizes and times of a source's files, to notice a change."""
    files = sorted(source.glob("*.[cC][sS][vV]")) if source.is_dir() else [source]
    stats = []
    for file in files:
        try:
            stat = file.stat()
        except OSError:
            continue
        stats.append(
            f"{plain_text.one_line(file.name)} {stat.st_size} {stat.st_mtime_ns} {stat.st_ino}"
        )
    return hashlib.sha256("\n".join(stats).encode()).hexdigest()


@dataclass(slots=True)
class Cache:
    """Sheets that were checked before, for one set of folders.

    Sheets checked by another version of the code are not used: the rules may have changed.

    Attributes
    ----------
    folder
        The folder of the tables.
    """

    folder: Path
    _held: int = 0

    @classmethod
    def of(cls, root: Path, places: Iterable[Path]) -> Cache:
        """Return the cache of a set of folders below a root."""
        paths = "\n".join(sorted(plain_text.one_line(str(place.resolve())) for place in places))
        return cls(root / hashlib.sha256(paths.encode()).hexdigest()[:24])

    def load(self, signatures: dict[str, str]) -> CheckedTables | None:
        """Return the checked sheets of sources that did not change; ``None`` without any."""
        try:
            if (self.folder / "code").read_text(encoding="ascii") != _digest_code():
                return None
            tables = [pd.read_parquet(self.folder / f"{name}.parquet") for name in _TABLES]
            held = CheckedTables(*tables)
            self._held = len(held.sheets)
            same = held.sheets["source"].map(signatures) == held.sheets["signature"]
            known = held.take(np.flatnonzero(same.to_numpy()))
        except (OSError, ValueError, KeyError):
            return None  # missing or damaged: everything is read again
        known.sheets = known.sheets.drop(columns="signature")
        return known

    def has_more_than(self, known: CheckedTables) -> bool:
        """Return whether the cache has sources that no longer exist."""
        return self._held > len(known.sheets)

    def save(self, checked: CheckedTables, signatures: dict[str, str]) -> None:
        """Store checked sheets; a cache that cannot be written is skipped."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            with locks.inside(self.folder):
                self._write(checked, signatures)
        except (OSError, locks.BusyError):
            return

    def _write(self, checked: CheckedTables, signatures: dict[str, str]) -> None:
        (self.folder / "code").unlink(missing_ok=True)
        sheets = checked.sheets.assign(signature=checked.sheets["source"].map(signatures))
        for name, table in zip(_TABLES, (sheets, checked.readings, checked.findings), strict=True):
            part = whole_writes.part_of(self.folder / f"{name}.parquet")
            table.to_parquet(part, index=False)
            part.replace(self.folder / f"{name}.parquet")
        whole_writes.write_text(self.folder / "code", _digest_code())


def _digest_code() -> str:
    """Return a digest of the code that reads and checks sheets, with all its folders."""
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
