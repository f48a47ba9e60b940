"""Withdraw sheets: the shop that signed them asks, and whoever holds them takes them out.

A request is a file that the shop signs with its key, so nobody can have another's sheets withdrawn.
It is kept in the contribution that it was applied to: a sheet that comes back later, signed before
the request, stays out. A shop may contribute it anew, for that has a later count.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.pipeline.privacy import signatures
from pullbook.pipeline.privacy.refused_sheets import (
    ACCEPTED,
    NAME_CHARS,
    SUPERSEDED,
)
from pullbook.pipeline.privacy.signatures import SHORT_CODE, Signature
from pullbook.pipeline.storage import locks, regular_files, whole_writes
from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    import pandas as pd
    from numpy.typing import NDArray

    from pullbook.pipeline.privacy.hand_over import HandOvers
    from pullbook.pipeline.privacy.signatures import Signer

#: Folder of a contribution that holds the requests applied to it, and their kind as signed things.
WITHDRAWN, KIND = "withdrawn", "withdrawal"
_FORMAT = "pullbook withdrawal 1"
_MOST_BYTES = 10_000_000


class WithdrawError(InputError):
    """A request that is not valid or not signed by the shop, or one that cannot be made."""


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """A request to withdraw sheets.

    Attributes
    ----------
    sheets
        Names of the sheets as they were contributed; empty for all sheets of the shop.
    signature
        The shop's signature; its count is later than those of the sheets.
    """

    sheets: tuple[str, ...]
    signature: Signature

    @property
    def code(self) -> str:
        """The code of the shop that asks."""
        return self.signature.code

    @property
    def file_name(self) -> str:
        """The name of its file in a contribution."""
        return f"{self.code[:NAME_CHARS]}-{self.signature.count}.json"

    def as_text(self) -> str:
        """Return it as the text of its file."""
        return signatures.record_text(_FORMAT, {"sheets": list(self.sheets)}, self.signature)


def request(signer: Signer, sheets: Sequence[str], count: int) -> Withdrawal:
    """Return a signed request for sheets; for all of the shop's if none is named."""
    names = tuple(dict.fromkeys(sheets))
    return Withdrawal(names, signer.sign(KIND, count, _signed({"sheets": list(names)})))


def read(path: Path) -> Withdrawal:
    """Read a request and check its signature.

    Raises
    ------
    WithdrawError
        The file is no request, or its signature does not hold.
    InputError
        There is no such file.

    """
    must_exist(path)
    try:
        text = regular_files.read(path, _MOST_BYTES).decode()
        record, signature = signatures.read_record(text, _FORMAT, KIND, _signed)
    except signatures.NotSignedError as error:
        msg = (
            f"{path} is not signed by the shop whose sheets it names, so nothing is withdrawn. Ask"
            " the shop to make the request itself: pullbook withdraw --request"
        )
        raise WithdrawError(msg) from error
    except (OSError, ValueError) as error:
        msg = f"{path} is no request to withdraw sheets; make one with: pullbook withdraw --request"
        raise WithdrawError(msg) from error
    return Withdrawal(tuple(record["sheets"]), signature)


def _signed(record: Mapping[str, Any]) -> str:
    """Return what is signed of a request: the names of its sheets."""
    sheets = record["sheets"]
    if not isinstance(sheets, list) or not all(isinstance(name, str) for name in sheets):
        raise TypeError
    return json.dumps(sorted(sheets))


def applied_to(folder: Path) -> tuple[list[Withdrawal], list[Path]]:
    """Return the requests that were applied to a contribution, and files there that are none."""
    found, damaged = [], []
    for path in sorted((folder / WITHDRAWN).glob("*.json")):
        try:
            found.append(read(path))
        except WithdrawError:
            damaged.append(path)
    return found, damaged


def apply(one: Withdrawal, folder: Path) -> int:
    """Take the sheets of a request out of a contribution, and keep the request there.

    Parameters
    ----------
    one
        The request, as `read` returns it.
    folder
        The contribution.

    Returns
    -------
    The number of files that were removed.

    Raises
    ------
    WithdrawError
        The folder is no contribution.

    """
    if not (folder / ACCEPTED).is_dir():
        msg = f"{folder} is no contribution: there is no folder {ACCEPTED} in it"
        raise WithdrawError(msg)
    with locks.inside(folder):
        (folder / WITHDRAWN).mkdir(exist_ok=True)
        whole_writes.write(folder / WITHDRAWN / one.file_name, one.as_text().encode())
        gone = [path for part in (ACCEPTED, SUPERSEDED) for path in _files(folder / part, one)]
        for path in gone:
            path.unlink()
    return len(gone)


def _files(folder: Path, one: Withdrawal) -> list[Path]:
    """Return the files of a folder that hold a withdrawn sheet of the shop."""
    from pullbook.pipeline.reading import sheet_file  # noqa: PLC0415 - only to withdraw

    found = []
    for path in sorted(folder.glob(f"{one.code[:NAME_CHARS]}-*.csv")):
        raw = sheet_file.read_first(path)
        signature = signatures.of_fields(raw.signature)
        if signature is None or signature.code != one.code:
            continue
        if signature.count <= one.signature.count and (
            not one.sheets or raw.sheet_id in one.sheets
        ):
            found.append(path)
    return found


def named(
    shops: pd.Series,
    sheet_ids: pd.Series,
    requests: Iterable[Withdrawal],
    counts: pd.Series | None = None,
    ways: HandOvers | None = None,
) -> NDArray[np.bool_]:
    """Return which sheets were withdrawn, shape (sheets,).

    Parameters
    ----------
    shops, sheet_ids
        Code of the shop and name of each sheet.
    requests
        The requests.
    counts
        The shop's count of each sheet: one signed after a request stays. ``None`` looks for all.
    ways
        Hand-overs that shops and counts follow already; requests then follow them too.

    """
    codes, names = shops.astype("str").fillna(""), sheet_ids.astype("str")
    found = np.zeros(len(shops), dtype=bool)
    for one in requests:
        code, last = one.code, one.signature.count
        if ways is not None:
            code, last = ways.code(code), ways.count(code, last)
        own = (codes == code).to_numpy(dtype=bool, copy=True)
        if one.sheets:
            with_shop = {f"{sheet}@{code[:SHORT_CODE]}" for sheet in one.sheets}
            own &= names.isin({*one.sheets, *with_shop}).to_numpy(dtype=bool)
        if counts is not None:
            own &= (counts <= last).to_numpy(dtype=bool)
        found |= own
    return found


def is_withdrawn_refusal(shop: str, requests: Iterable[Withdrawal]) -> bool:
    """Return whether a refused sheet is of a shop that withdrew all; ``shop`` starts its code."""
    return any(bool(shop) and one.code.startswith(shop) and not one.sheets for one in requests)
