"""Take what was withdrawn out of a data set, and look for it in everything made from one."""

from __future__ import annotations

import io
import os
import re
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.pipeline.curation import data_set
from pullbook.pipeline.privacy.signatures import SHORT_CODE
from pullbook.pipeline.privacy.withdraw import named
from pullbook.pipeline.storage import locks, regular_files
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from pullbook.pipeline.privacy.withdraw import Withdrawal

#: Shorter names of sheets are searched in tables only: in a text they could be anything.
_SHORTEST_NAME = 4
#: Most bytes of a file that is searched.
_MOST_BYTES = 1_000_000_000
#: What damaged tables and arrays make the libraries raise.
_DAMAGED = (
    OSError, ValueError, KeyError, EOFError, NotImplementedError, zipfile.BadZipFile, zlib.error,
)  # fmt: skip


class NotSearchedError(InputError):
    """A file that cannot be read, so that nothing can be said of it."""

    def __init__(self, file: Path) -> None:
        super().__init__(
            "it cannot be read, so it was not searched: copy it again, or remove it", file=file
        )


def take_out(one: Withdrawal, folder: Path) -> int:
    """Take the sheets of a request out of a curated data set; return how many there were.

    A data set does not hold when a sheet was signed. So a sheet that was contributed anew after the
    request is taken out too; it is back when the data set is curated again.

    Raises
    ------
    NotCuratedError
        The folder holds no valid curated data set.

    """
    with locks.beside(Path(os.path.realpath(folder))):
        return _take_out(one, folder)


def _take_out(one: Withdrawal, folder: Path) -> int:
    builds, pulls = data_set.load(folder)
    findings = data_set.load_findings(folder)
    gone = named(builds["shop"], builds["sheet_id"], [one])
    names = set(builds.loc[gone, "sheet_id"])
    texts = findings.select_dtypes(include=["object", "string"]).fillna("")
    noted = [
        sheet in names or _contains(_Content(None, "\n".join(row)), one)
        for sheet, row in zip(findings["sheet_id"], texts.to_numpy().tolist(), strict=True)
    ]
    kept = {
        data_set.BUILDS: builds[~gone],
        data_set.PULLS: pulls[~pulls["sheet_id"].isin(names)],
        data_set.FINDINGS: findings[~np.asarray(noted, dtype=bool)],
    }
    data_set.write(folder, kept)
    return len(names)


def left(
    places: Sequence[Path],
    listed: Sequence[Withdrawal],
    say: Callable[[NotSearchedError], None],
) -> Iterator[tuple[Path, Withdrawal]]:
    """Yield each file below some places that still contains a withdrawn sheet, with its line.

    Tables, arrays and texts are searched for the shop's code and the sheet's name. Other kinds of
    files cannot be searched. ``say`` is given what is wrong with a file that cannot be read.
    """
    for file in _list_files(places):
        try:
            content = _read_content(file)
        except NotSearchedError as fault:
            say(fault)
            continue
        for one in listed:
            if _contains(content, one):
                yield file, one


def blind(places: Sequence[Path], listed: Sequence[Withdrawal]) -> list[Path]:
    """Return the tables that cannot be searched for the sheets of a whole shop.

    They name sheets but no shops, and there is no table of builds in their folder to look the
    shops up.
    """
    if all(one.sheets for one in listed):
        return []
    return [file for file in _list_files(places) if file.suffix == ".parquet" and _is_blind(file)]


def _table(file: Path, columns: list[str] | None = None) -> pd.DataFrame:
    from pyarrow import ArrowException  # noqa: PLC0415 - slow to import

    try:
        return pd.read_parquet(io.BytesIO(_bytes(file)), columns=columns)
    except (*_DAMAGED, ArrowException) as fault:
        raise NotSearchedError(file) from fault


def _bytes(file: Path) -> bytes:
    try:
        return regular_files.read(file, _MOST_BYTES)
    except OSError as fault:
        raise NotSearchedError(file) from fault


def _is_blind(file: Path) -> bool:
    try:
        table = _table(file)
    except NotSearchedError:
        return False  # `left` says so
    shops = {"shop", "source"} & set(table)  # a source is a file named by its shop's code
    return not shops and _sheets_of(table) is not None and _find_owners(file, table) is None


def _list_files(places: Sequence[Path]) -> list[Path]:
    return [
        file
        for place in places
        for file in ([place] if place.is_file() else sorted(place.rglob("*")))
        if file.is_file()
    ]


def _sheets_of(table: pd.DataFrame) -> pd.Series | None:
    """Return the names of the sheets in a table; ``None`` if it has none."""
    if table.index.name == "sheet_id":
        return table.index.to_series().reset_index(drop=True)
    return table.get("sheet_id")


def _find_owners(file: Path, table: pd.DataFrame) -> pd.DataFrame | None:
    """Return shop and name of the sheets of a table, from the table of builds in its folder."""
    builds, sheets = file.with_name("builds.parquet"), _sheets_of(table)
    if sheets is None or not builds.is_file():
        return None
    owners = _table(builds, ["shop", "sheet_id"])
    own = owners[owners["sheet_id"].isin(set(sheets))]
    return own if set(sheets) <= set(own["sheet_id"]) else None


@dataclass(frozen=True, slots=True)
class _Content:
    table: pd.DataFrame | None
    text: str


def _read_content(file: Path) -> _Content:
    """Return the content of a file: a table of shops and sheets if it is one, else its text."""
    if file.suffix == ".parquet":
        table = _table(file)
        if {"shop", "sheet_id"} <= set(table):
            return _Content(table[["shop", "sheet_id"]], "")
        if (owned := _find_owners(file, table)) is not None:
            return _Content(owned, "")
        table = table.reset_index() if table.index.name == "sheet_id" else table
        texts = table.select_dtypes(include=["object", "string"]).to_numpy().ravel()
        return _Content(None, "\n".join(map(str, texts)))
    if file.suffix == ".npz":
        try:
            with np.load(io.BytesIO(_bytes(file)), allow_pickle=False) as arrays:
                names = [arrays[name] for name in arrays.files if arrays[name].dtype.kind == "U"]
        except (*_DAMAGED, AttributeError, TypeError) as fault:  # one array is no archive
            raise NotSearchedError(file) from fault
        return _Content(None, "\n".join(text for some in names for text in some.ravel().tolist()))
    return _Content(None, f"{file.name}\n{_bytes(file).decode('utf-8', errors='replace')}")


def _contains(content: _Content, one: Withdrawal) -> bool:
    if content.table is not None:
        return bool(named(content.table["shop"], content.table["sheet_id"], [one]).any())
    if not one.sheets:
        return one.code[:SHORT_CODE] in content.text
    return any(_has_name(content.text, sheet, one.code) for sheet in one.sheets)


def _has_name(text: str, sheet: str, code: str) -> bool:
    if len(sheet) < _SHORTEST_NAME:
        return f"{sheet}@{code[:SHORT_CODE]}" in text
    return re.search(rf"(?<![\w-]){re.escape(sheet)}(?![\w-])", text) is not None
