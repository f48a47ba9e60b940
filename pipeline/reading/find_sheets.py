"""Find and read sheets: files, folders, tables, workbooks.

Finding and reading are two steps. The sources are listed first, so that a caller can count them,
split them among processes, or read only the new ones.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pullbook.pipeline.files import text_file, workbook
from pullbook.pipeline.reading import sheet_file, tables
from pullbook.pipeline.settings import shop_settings
from pullbook.pipeline.settings.follow_settings import follow
from pullbook.pipeline.settings.shop_settings import NO_SETTINGS
from pullbook.pipeline.storage import plain_text
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.schemas.errors import InputError, not_there
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pullbook.pipeline.settings.shop_settings import Settings

_TEXT_SHEETS = (".tsv", ".txt", ".prn", ".asc", ".dat")
SHEET_FILES = (".csv", *workbook.WORKBOOKS, *_TEXT_SHEETS)
_ENDINGS = "Sheets end in .csv, .tsv, .txt, .prn, .asc, .dat, .xlsx, .xls or .ods."
_DEEPEST = 32
#: Files and folders that tell a model, its record and a contribution from a folder of sheets.
_NO_SHEETS = (frozenset({"bundle.json"}), frozenset({"promotions.csv"}),
              frozenset({"accepted", "refused"}))  # fmt: skip


class NothingToReadError(InputError):
    """A path that does not exist, or that has no sheets."""


@dataclass(slots=True)
class Found:
    """The files found below some paths.

    Attributes
    ----------
    sources
        Sheet files, workbooks and folders of tables, in a stable order.
    passed_over
        Files that cannot be sheets by their name, and links to folders, which are not followed.
    """

    sources: list[Path]
    passed_over: list[Path]


def find(paths: Iterable[Path], without: Path | None = None) -> Found:
    """List the sources of sheets below some paths, in a stable order.

    Parameters
    ----------
    paths
        Sheet files, folders of them (searched to any depth), folders with ``builds.csv`` and
        ``pulls.csv``, and workbooks. A model or a contribution below a folder is passed over.
    without
        A folder to skip.

    Raises
    ------
    NothingToReadError
        A path does not exist, is not a kind of file that holds sheets, or is a folder without any.

    """
    found = Found([], [])
    for path in paths:
        if path.is_dir():
            before = len(found.sources)
            _search_folder(path, found, 0, None if without is None else without.resolve())
            if len(found.sources) == before:
                msg = f"{path} has no sheets in it. {_ENDINGS}"
                raise NothingToReadError(msg)
        else:
            found.sources.append(_check_file(path))
    found.sources = list(dict.fromkeys(found.sources))
    return found


def _search_folder(folder: Path, found: Found, depth: int, without: Path | None) -> None:
    try:
        with os.scandir(folder) as entries:
            listed = sorted(entries, key=lambda entry: entry.name)
    except OSError:
        found.sources.append(folder)  # which says why when it is read
        return
    names = {entry.name.casefold() for entry in listed}
    if depth and any(marks <= names for marks in _NO_SHEETS):
        found.passed_over.append(folder)
        return
    has_tables = any(
        entry.name.casefold() == f"{tables.BUILDS}.csv" and not _is_folder(entry)
        for entry in listed
    )
    if has_tables:
        found.sources.append(folder)
    for entry in listed:
        if entry.name.startswith(".") or entry.name == shop_settings.FILE:
            continue
        path = Path(entry.path)  # of thousands, quicker than to join it
        if without is not None and _is_folder(entry) and path.resolve() == without:
            continue
        if entry.is_dir(follow_symlinks=False) and depth < _DEEPEST:
            _search_folder(path, found, depth + 1, without)
        elif has_tables and _is_table(path):
            continue
        elif _is_folder(entry) or path.suffix.casefold() not in SHEET_FILES or _is_other_text(path):
            found.passed_over.append(path)
        else:
            found.sources.append(path)


def _is_folder(entry: os.DirEntry[str]) -> bool:
    """Return whether something is a folder, or a link to one; a link to itself is none."""
    try:
        return entry.is_dir()
    except OSError:
        return False


def _is_table(path: Path) -> bool:
    return path.name.casefold() in (f"{tables.BUILDS}.csv", f"{tables.PULLS}.csv")


def _is_other_text(path: Path) -> bool:
    """Return whether a .tsv or .txt file is no sheet: no --- line first, and no rpm column."""
    if path.suffix.casefold() not in _TEXT_SHEETS:
        return False
    try:
        text = text_file.read(path)[0]
        return not (sheet_file.has_front_matter(text) or sheet_file.has_pull(text))
    except text_file.UnreadableError:
        return True


def _check_file(path: Path) -> Path:
    if not path.exists() and not path.is_symlink():
        raise NothingToReadError(not_there(path))
    if _is_other_text(path):
        msg = f"{path} is not a sheet: it has no column of rpm beside torque or power"
        raise NothingToReadError(msg)
    if path.suffix.casefold() not in SHEET_FILES:
        msg = f"{path} cannot be a sheet. {_ENDINGS}"
        raise NothingToReadError(msg)
    return path.parent if _is_table(path) else path


def source(path: Path, settings: Settings = NO_SETTINGS) -> list[RawSheet]:
    """Read the sheets of one source that `find` listed; faults become findings.

    The shop's settings say what its headings and words mean, and what its sheets share.
    """
    if (fault := _name_fault(path)) is not None:
        return [fault]
    try:
        return _read(path, settings)
    except OSError as error:
        message = f"{path.name} cannot be read: {error.strerror or error}"
        return [RawSheet(path.stem, str(path), findings=[Finding("not-readable", message)])]


def _name_fault(path: Path) -> RawSheet | None:
    """Return what is said of a file whose name is no plain text; ``None`` for any other."""
    shown = plain_text.one_line(str(path))
    if shown == str(path):
        return None
    message = f"The name {shown!r} holds what is no plain text. Rename it, then check it again."
    stem = plain_text.one_line(path.stem)
    return RawSheet(stem, shown, findings=[Finding("not-readable", message)])


def _read(path: Path, settings: Settings) -> list[RawSheet]:
    headings = settings.headings
    files: tuple[Path, ...] = (path,)
    if path.is_dir():
        found = tables.read_folder(path, headings)
        pair = (tables.table_in(path, name) for name in (tables.BUILDS, tables.PULLS))
        files = tuple(file for file in pair if file is not None)
    elif path.suffix.casefold() in workbook.WORKBOOKS:
        found = tables.read_workbook(path, headings)
    else:
        found = sheet_file.read(path, headings)
    for sheet in found:
        sheet.files = files
        follow(settings, sheet)
    return found


def sheets(paths: Iterable[Path]) -> Iterator[RawSheet]:
    """Read every sheet below some paths, in a stable order and without settings; see `find`."""
    for path in find(paths).sources:
        yield from source(path)
