"""Take what was withdrawn out of a data set, and look for it in everything made from one."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.pipeline.curation import data_set
from pullbook.pipeline.privacy.signatures import SHORT_CODE
from pullbook.pipeline.privacy.withdraw import named
from pullbook.pipeline.storage import locks, plain_arrays, regular_files, table_texts
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from pullbook.pipeline.privacy.withdraw import Withdrawal

_OWNER = ["shop", "sheet_id"]
#: Shorter names of sheets are searched in tables only: in a text they could be anything.
_SHORTEST_NAME = 4
#: Most bytes of a file that is searched, and of the arrays that are packed in one.
_MOST_BYTES, _MOST_ARRAYS = 1_000_000_000, 200_000_000


class NotSearchedError(InputError):
    """A file that cannot be read, so that nothing can be said of it."""

    def __init__(self, file: Path) -> None:
        msg = (
            "it cannot be read or is too large, so it was not searched: copy it again, or remove it"
        )
        super().__init__(msg, file=file)


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


def _bytes(file: Path) -> bytes:
    try:
        return regular_files.read(file, _MOST_BYTES)
    except OSError as fault:
        raise NotSearchedError(file) from fault


def _is_blind(file: Path) -> bool:
    try:
        data = _bytes(file)
        names = table_texts.columns(data)
        # A source is a file named by its shop's code.
        if {"shop", "source"} & set(names) or "sheet_id" not in names:
            return False
        return _find_owners(file, data) is None
    except (NotSearchedError, table_texts.TableError):
        return False  # `left` says so


def _list_files(places: Sequence[Path]) -> list[Path]:
    return [
        file
        for place in places
        for file in ([place] if place.is_file() else sorted(place.rglob("*")))
        if file.is_file()
    ]


def _find_owners(file: Path, data: bytes) -> pd.DataFrame | None:
    """Return shop and name of the sheets that a table names, from the builds in its folder."""
    builds = file.with_name("builds.parquet")
    if not builds.is_file():
        return None
    sheets = set(table_texts.rows(data, ["sheet_id"])["sheet_id"])
    owners = table_texts.rows(_bytes(builds), _OWNER)
    own = owners[owners["sheet_id"].isin(sheets)]
    return own if sheets <= set(own["sheet_id"]) else None


@dataclass(frozen=True, slots=True)
class _Content:
    table: pd.DataFrame | None
    text: str


def _read_content(file: Path) -> _Content:
    """Return the content of a file: a table of shops and sheets if it is one, else its text."""
    data = _bytes(file)
    try:
        if file.suffix == ".parquet":
            return _of_table(file, data)
        if file.suffix == ".npz":
            arrays = plain_arrays.read(data, _MOST_ARRAYS).values()
            texts = (text for one in arrays if one.dtype.kind == "U" for text in one.ravel())
            return _Content(None, "\n".join(map(str, texts)))
    except (table_texts.TableError, plain_arrays.ArraysError) as fault:
        raise NotSearchedError(file) from fault
    return _Content(None, f"{file.name}\n{data.decode('utf-8', errors='replace')}")


def _of_table(file: Path, data: bytes) -> _Content:
    names = table_texts.columns(data)
    if set(_OWNER) <= set(names):
        return _Content(table_texts.rows(data, _OWNER), "")
    if "sheet_id" in names and (owned := _find_owners(file, data)) is not None:
        return _Content(owned, "")
    return _Content(None, table_texts.words(data))


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
