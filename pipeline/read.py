"""Sheets from wherever they lie: files, folders, tables, workbooks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipeline import sheet_file, tables

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pipeline.sheet import RawSheet

_BUILD_FILES = (".yaml", ".yml")
_SHEET_FILES = (".csv", ".xlsx")


class NothingToReadError(OSError):
    """A path that does not exist, or holds nothing that could be a sheet."""


def sheets(paths: Iterable[Path]) -> Iterator[RawSheet]:
    """Read every sheet below the paths, in a stable order.

    Parameters
    ----------
    paths
        Sheet files, folders of them (read to any depth), folders with ``builds.csv`` and
        ``pulls.csv``, and workbooks.

    Raises
    ------
    NothingToReadError
        A path does not exist, is no kind of file that carries sheets, or is a folder with none.

    """
    for path in paths:
        if path.is_dir():
            found = list(_folder(path))
            if not found:
                msg = f"{path} holds no sheets (*.csv, *.xlsx)"
                raise NothingToReadError(msg)
            yield from found
        else:
            yield from _file(path)


def builds(path: Path) -> list[RawSheet]:
    """Read what is to be predicted: a build file, a sheet file, a table of builds or a workbook.

    Raises
    ------
    NothingToReadError
        The path does not exist or is no kind of file that describes builds.

    """
    if path.is_dir() and (path / f"{tables.BUILDS}.csv").is_file():
        path = path / f"{tables.BUILDS}.csv"
    suffix = path.suffix.casefold()
    if not path.is_file() or suffix not in _BUILD_FILES + _SHEET_FILES:
        msg = f"{path} is not a file that describes builds (.csv, .yaml, .xlsx)"
        raise NothingToReadError(msg)
    if suffix in _BUILD_FILES:
        return [sheet_file.read_build(path)]
    if suffix == ".xlsx":
        return tables.read_workbook(path)
    try:
        text = sheet_file.decode(path)
    except sheet_file.UnreadableError as fault:
        raise NothingToReadError(str(fault)) from fault
    if sheet_file.has_front_matter(text):
        return [sheet_file.read(path)]
    return tables.assemble(tables.csv_table(path), None, str(path))


def _folder(folder: Path) -> Iterator[RawSheet]:
    names = sorted(folder.iterdir())
    with_tables = folder / f"{tables.BUILDS}.csv"
    if with_tables.is_file():
        yield from tables.read_folder(folder)
    for path in names:
        if path.is_dir():
            yield from _folder(path)
        elif path.suffix.casefold() in _SHEET_FILES and not _is_table(path):
            yield from _file(path)


def _is_table(path: Path) -> bool:
    return path.name.casefold() in (f"{tables.BUILDS}.csv", f"{tables.PULLS}.csv")


def _file(path: Path) -> Iterator[RawSheet]:
    if not path.is_file():
        msg = f"{path} does not exist"
        raise NothingToReadError(msg)
    match path.suffix.casefold():
        case ".xlsx":
            yield from tables.read_workbook(path)
        case ".csv" if _is_table(path):
            yield from tables.read_folder(Path(path.parent))
        case ".csv":
            yield sheet_file.read(path)
        case _:
            msg = f"{path} is not a kind of file that carries sheets (.csv, .xlsx)"
            raise NothingToReadError(msg)
