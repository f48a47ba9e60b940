"""Withdraw sheets: a contributor takes back one sheet or all of them, and no trace is left.

Contributed files are never changed. A list records what was withdrawn; curating leaves it out, so
nothing made from the data set afterwards contains it. An audit checks that.
"""

from __future__ import annotations

import csv
import re
from dataclasses import astuple, dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

#: Number of characters of a shop's code that pages and file names show.
CODE_CHARS = 8
_CODE = re.compile(r"[0-9a-f]{8,64}")
#: A code that is too short or in capitals; no shop has such a name.
_LIKE_A_CODE = re.compile(r"(?=.*\d)[0-9a-fA-F]{3,64}")
#: Shorter names of sheets are searched in tables only: in a text they could be anything.
_SHORTEST_NAME = 4


class WithdrawError(InputError):
    """A list of withdrawals that is not valid, or a withdrawal that cannot be added."""


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """One line of the list.

    Attributes
    ----------
    shop
        The code of the shop, or at least its first eight characters.
    sheet_id
        The sheet; blank for all sheets of the shop.
    on
        ISO date.
    why
        The reason given.
    """

    shop: str
    sheet_id: str
    on: str
    why: str


def is_code(text: str) -> bool:
    """Return whether a text is a shop's code, or its first eight characters or more.

    >>> is_code("3fa9c1d2"), is_code("Tern Quay Marine")
    (True, False)
    """
    return _CODE.fullmatch(text) is not None


def is_like_code(text: str) -> bool:
    """Return whether a text that is not a code was probably meant as one.

    >>> is_like_code("3FA9C1D2"), is_like_code("3fa9"), is_like_code("Ada")
    (True, True, False)
    """
    return not is_code(text) and _LIKE_A_CODE.fullmatch(text) is not None


def read(path: Path) -> list[Withdrawn]:
    """Read a list of withdrawals.

    Raises
    ------
    WithdrawError
        The file is not a list of withdrawals.
    InputError
        There is no such file.

    """
    must_exist(path)
    invalid = f"{path} is not a list of withdrawals; it needs the columns shop, sheet_id, on, why"
    try:
        with path.open(encoding="utf-8", newline="") as file:
            reader = csv.DictReader(file)
            found = [Withdrawn(**row) for row in reader]
    except (TypeError, UnicodeDecodeError, csv.Error) as error:
        raise WithdrawError(invalid) from error
    if set(reader.fieldnames or ()) != {field.name for field in fields(Withdrawn)}:
        raise WithdrawError(invalid)
    for line, one in enumerate(found, start=2):
        if not is_code(one.shop or ""):
            msg = f"{path}, row {line}: {one.shop!r} is not a shop's code"
            raise WithdrawError(msg)
    return found


def add(path: Path, shop: str, sheet_id: str, on: dt.date, why: str) -> Withdrawn:
    """Add a line to a list; a list that does not exist is made.

    Raises
    ------
    WithdrawError
        The shop is not given by its code, no reason is given, or the same line is there already.

    """
    if not why.strip():
        msg = "say why it is withdrawn; the reason is kept in the list"
        raise WithdrawError(msg)
    if not is_code(shop):
        msg = f"{shop!r} is not a shop's code; give at least its first {CODE_CHARS} characters"
        raise WithdrawError(msg)
    listed = read(path) if path.exists() else []
    if any((one.shop, one.sheet_id) == (shop, sheet_id) for one in listed):
        msg = f"this was withdrawn before; it is listed in {path}"
        raise WithdrawError(msg)
    one = Withdrawn(shop, sheet_id, on.isoformat(), why)
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.part")
    with part.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([field.name for field in fields(Withdrawn)])
        writer.writerows(astuple(line) for line in [*listed, one])
    part.replace(path)
    return one


def named(shops: pd.Series, sheet_ids: pd.Series, listed: Iterable[Withdrawn]) -> NDArray[np.bool_]:
    """Return which sheets were withdrawn, shape (sheets,)."""
    codes, names = shops.astype("str").fillna(""), sheet_ids.astype("str")
    found = np.zeros(len(shops), dtype=bool)
    for one in listed:
        own = codes.str.startswith(one.shop).to_numpy(dtype=bool, copy=True)
        if one.sheet_id:
            with_shop = f"{one.sheet_id}@{one.shop[:CODE_CHARS]}"
            own &= names.isin([one.sheet_id, with_shop]).to_numpy(dtype=bool)
        found |= own
    return found


def is_named(shop: str, sheet_id: str, listed: Iterable[Withdrawn]) -> bool:
    """Return whether a sheet was withdrawn; ``shop`` may be only the start of the code."""
    return any(
        bool(shop)
        and (shop.startswith(one.shop) or one.shop.startswith(shop))
        and one.sheet_id in ("", sheet_id)
        for one in listed
    )


def left(places: Sequence[Path], listed: Sequence[Withdrawn]) -> Iterator[tuple[Path, Withdrawn]]:
    """Yield each file below some places that still contains a withdrawn sheet, with its line.

    Tables, arrays and texts are searched for the shop's code and the sheet's name. Other kinds of
    files cannot be searched.
    """
    for file in _list_files(places):
        content = _read_content(file)
        for one in listed:
            if _contains(content, one):
                yield file, one


def blind(places: Sequence[Path], listed: Sequence[Withdrawn]) -> list[Path]:
    """Return the tables that cannot be searched for the sheets of a whole shop.

    They name sheets but no shops, and there is no table of builds in their folder to look the
    shops up.
    """
    if all(one.sheet_id for one in listed):
        return []
    return [file for file in _list_files(places) if file.suffix == ".parquet" and _is_blind(file)]


def _is_blind(file: Path) -> bool:
    table = pd.read_parquet(file)
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
    owners = pd.read_parquet(builds, columns=["shop", "sheet_id"])
    own = owners[owners["sheet_id"].isin(set(sheets))]
    return own if set(sheets) <= set(own["sheet_id"]) else None


@dataclass(frozen=True, slots=True)
class _Content:
    table: pd.DataFrame | None
    text: str


def _read_content(file: Path) -> _Content:
    """Return the content of a file: a table of shops and sheets if it is one, else its text."""
    if file.suffix == ".parquet":
        table = pd.read_parquet(file)
        if {"shop", "sheet_id"} <= set(table):
            return _Content(table[["shop", "sheet_id"]], "")
        if (owned := _find_owners(file, table)) is not None:
            return _Content(owned, "")
        table = table.reset_index() if table.index.name == "sheet_id" else table
        texts = table.select_dtypes(include=["object", "string"]).to_numpy().ravel()
        return _Content(None, "\n".join(map(str, texts)))
    if file.suffix == ".npz":
        with np.load(file, allow_pickle=False) as arrays:
            names = [arrays[name] for name in arrays.files if arrays[name].dtype.kind == "U"]
        return _Content(None, "\n".join(text for some in names for text in some.ravel().tolist()))
    return _Content(None, f"{file.name}\n{file.read_bytes().decode('utf-8', errors='replace')}")


def _contains(content: _Content, one: Withdrawn) -> bool:
    if content.table is not None:
        return bool(named(content.table["shop"], content.table["sheet_id"], [one]).any())
    if not one.sheet_id:
        return one.shop[:CODE_CHARS] in content.text
    if len(one.sheet_id) < _SHORTEST_NAME:
        return f"{one.sheet_id}@{one.shop[:CODE_CHARS]}" in content.text
    return re.search(rf"(?<![\w-]){re.escape(one.sheet_id)}(?![\w-])", content.text) is not None
