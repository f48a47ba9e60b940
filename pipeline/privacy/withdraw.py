"""Withdrawing: a contributor asks for a sheet back, or for all of them, and nothing of it stays.

What was contributed is never altered. A list says what was withdrawn, curating leaves it out, and
whatever is made from the data set after that has never seen it. The audit looks whether that is so.
"""

from __future__ import annotations

import csv
import re
from dataclasses import astuple, dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

#: As many characters of a shop's code as pages and names of files show of it.
CODE_CHARS = 8
_CODE = re.compile(r"[0-9a-f]{8,64}")
#: A code that is too short or not as it is written; no shop has such a name.
_LIKE_A_CODE = re.compile(r"(?=.*\d)[0-9a-fA-F]{3,64}")
#: A shorter name of a sheet is looked for in tables alone: in a text it could be anything.
_TELLING = 4


class WithdrawError(InputError):
    """A list or a withdrawal that cannot be used; the message says why."""


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """One line of the list.

    Attributes
    ----------
    shop
        The code of the shop, or its first eight characters and more.
    sheet_id
        The sheet; blank for all of the shop's.
    on
        ISO date.
    why
        What was told.
    """

    shop: str
    sheet_id: str
    on: str
    why: str


def is_code(text: str) -> bool:
    """Tell whether a text is a shop's code, or enough of its beginning.

    >>> is_code("3fa9c1d2"), is_code("Tern Quay Marine")
    (True, False)
    """
    return _CODE.fullmatch(text) is not None


def is_like_code(text: str) -> bool:
    """Tell whether a text that is no code was likely meant as one.

    >>> is_like_code("3FA9C1D2"), is_like_code("3fa9"), is_like_code("Ada")
    (True, True, False)
    """
    return not is_code(text) and _LIKE_A_CODE.fullmatch(text) is not None


def read(path: Path) -> list[Withdrawn]:
    """Return a list of what was withdrawn.

    Raises
    ------
    WithdrawError
        It is none.
    OSError
        It cannot be read.

    """
    none = f"{path} is no list of withdrawals: its columns are shop, sheet_id, on and why"
    try:
        with path.open(encoding="utf-8", newline="") as file:
            reader = csv.DictReader(file)
            found = [Withdrawn(**row) for row in reader]
    except (TypeError, UnicodeDecodeError, csv.Error) as fault:
        raise WithdrawError(none) from fault
    if set(reader.fieldnames or ()) != {field.name for field in fields(Withdrawn)}:
        raise WithdrawError(none)
    for line, one in enumerate(found, start=2):
        if not is_code(one.shop or ""):
            msg = f"{path}, row {line}: {one.shop!r} is no code of a shop"
            raise WithdrawError(msg)
    return found


def add(path: Path, shop: str, sheet_id: str, on: dt.date, why: str) -> Withdrawn:
    """Add a line to a list, made if need be.

    Raises
    ------
    WithdrawError
        The shop is not told by its code, nothing is said of why, or it stands on the list already.

    """
    if not why.strip():
        msg = "say why it is withdrawn; the list keeps it"
        raise WithdrawError(msg)
    if not is_code(shop):
        msg = f"{shop!r} is no code of a shop: at least its first {CODE_CHARS} characters are"
        raise WithdrawError(msg)
    listed = read(path) if path.exists() else []
    if any((one.shop, one.sheet_id) == (shop, sheet_id) for one in listed):
        msg = f"that was withdrawn before and stands in {path}"
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
    """Tell which sheets were withdrawn, shape (sheets,)."""
    codes, names = shops.astype("str").fillna(""), sheet_ids.astype("str")
    found = np.zeros(len(shops), dtype=bool)
    for one in listed:
        own = codes.str.startswith(one.shop).to_numpy(dtype=bool, copy=True)
        if one.sheet_id:
            apart = f"{one.sheet_id}@{one.shop[:CODE_CHARS]}"
            own &= names.isin([one.sheet_id, apart]).to_numpy(dtype=bool)
        found |= own
    return found


def is_named(shop: str, sheet_id: str, listed: Iterable[Withdrawn]) -> bool:
    """Tell whether a sheet was withdrawn; of the shop's code its beginning may be known only."""
    return any(
        bool(shop)
        and (shop.startswith(one.shop) or one.shop.startswith(shop))
        and one.sheet_id in ("", sheet_id)
        for one in listed
    )


def left(places: Sequence[Path], listed: Sequence[Withdrawn]) -> Iterator[tuple[Path, Withdrawn]]:
    """Yield the files below some places in which something withdrawn is left, with what it is.

    Tables, arrays and texts are read for the shop's code and the sheet's name; of other files
    nothing is known.
    """
    for file in _files(places):
        told = _told(file)
        for one in listed:
            if _holds(told, one):
                yield file, one


def blind(places: Sequence[Path], listed: Sequence[Withdrawn]) -> list[Path]:
    """Return the tables of which it cannot be told whether sheets of a whole shop are in them.

    They name sheets and no shops, and no builds lie beside them that would say whose those are.
    """
    if all(one.sheet_id for one in listed):
        return []
    return [file for file in _files(places) if file.suffix == ".parquet" and _is_blind(file)]


def _is_blind(file: Path) -> bool:
    table = pd.read_parquet(file)
    told = {"shop", "source"} & set(table)  # a source is a file, which goes by its shop's code
    return not told and _sheets_of(table) is not None and _beside(file, table) is None


def _files(places: Sequence[Path]) -> list[Path]:
    return [
        file
        for place in places
        for file in ([place] if place.is_file() else sorted(place.rglob("*")))
        if file.is_file()
    ]


def _sheets_of(table: pd.DataFrame) -> pd.Series | None:
    """Return the names of the sheets that a table is about; ``None`` where it names none."""
    if table.index.name == "sheet_id":
        return table.index.to_series().reset_index(drop=True)
    return table.get("sheet_id")


def _beside(file: Path, table: pd.DataFrame) -> pd.DataFrame | None:
    """Return shop and name of the sheets of a table, by the builds that lie in its folder."""
    builds, sheets = file.with_name("builds.parquet"), _sheets_of(table)
    if sheets is None or not builds.is_file():
        return None
    owners = pd.read_parquet(builds, columns=["shop", "sheet_id"])
    own = owners[owners["sheet_id"].isin(set(sheets))]
    return own if set(sheets) <= set(own["sheet_id"]) else None


@dataclass(frozen=True, slots=True)
class _Told:
    table: pd.DataFrame | None
    text: str


def _told(file: Path) -> _Told:
    """Return what a file tells: a table of shops and sheets where it is one, else its text."""
    if file.suffix == ".parquet":
        table = pd.read_parquet(file)
        if {"shop", "sheet_id"} <= set(table):
            return _Told(table[["shop", "sheet_id"]], "")
        if (owned := _beside(file, table)) is not None:
            return _Told(owned, "")
        table = table.reset_index() if table.index.name == "sheet_id" else table
        texts = table.select_dtypes(include=["object", "string"]).to_numpy().ravel()
        return _Told(None, "\n".join(map(str, texts)))
    if file.suffix == ".npz":
        with np.load(file, allow_pickle=False) as arrays:
            names = [arrays[name] for name in arrays.files if arrays[name].dtype.kind == "U"]
        return _Told(None, "\n".join(text for some in names for text in some.ravel().tolist()))
    return _Told(None, f"{file.name}\n{file.read_bytes().decode('utf-8', errors='replace')}")


def _holds(told: _Told, one: Withdrawn) -> bool:
    if told.table is not None:
        return bool(named(told.table["shop"], told.table["sheet_id"], [one]).any())
    if not one.sheet_id:
        return one.shop[:CODE_CHARS] in told.text
    if len(one.sheet_id) < _TELLING:
        return f"{one.sheet_id}@{one.shop[:CODE_CHARS]}" in told.text
    return re.search(rf"(?<![\w-]){re.escape(one.sheet_id)}(?![\w-])", told.text) is not None
