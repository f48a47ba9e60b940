"""Sheets of one engine complete one another: what was not swapped is the same on all of them.

A part is taken as the same on two sheets if no field of it that both give differs. Then what one of
them leaves out is what the other gives, and what neither gives is one value, not two: filled apart,
it would look like a change, for instance of compression with the camshaft.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullbook.schemas.part_groups import SWAPPED

if TYPE_CHECKING:
    from collections.abc import Mapping

    Column = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Smaller shares of a number are no difference.
_SAME = 0.004


def complete(columns: Mapping[str, Column], engine: Ints) -> tuple[dict[str, Column], list[Shared]]:
    """Return the fields of sheets, completed by the other sheets of their engine.

    Parameters
    ----------
    columns
        Fields as floats, as `engineered_features.numbers` returns them, shape (sheets,) each.
    engine
        Number of the engine of each sheet, below 0 for one that stands alone, shape (sheets,).

    Returns
    -------
    The completed columns, and the fields that some sheets share though none of them gives it.

    """
    whole = {name: np.array(column) for name, column in columns.items()}
    shared: list[Shared] = []
    for rows in _of_each(engine):
        for part in SWAPPED:
            names = [name for name in part if name in whole]
            given = np.array([whole[name][rows] for name in names])
            for alike, known in _alike(given):
                same = rows[alike]
                for name, value in zip(names, known.tolist(), strict=True):
                    whole[name][same] = value
                    if np.isnan(value):
                        shared.append((name, same))
    return whole, shared


def share(columns: Mapping[str, Column], shared: list[Shared]) -> dict[str, Column]:
    """Return filled fields with those that sheets share as on the first of these sheets."""
    same = {name: np.array(column) for name, column in columns.items()}
    for name, rows in shared:
        same[name][rows] = same[name][rows[0]]
    return same


def _of_each(engine: Ints) -> list[Ints]:
    """Return the rows of each engine with more than one sheet."""
    order = np.argsort(engine, kind="stable")
    starts = np.flatnonzero(np.diff(engine[order], prepend=engine[order[:1]] - 1))
    return [rows for rows in np.split(order, starts[1:]) if len(rows) > 1 and engine[rows[0]] >= 0]


def _alike(given: Column) -> list[tuple[Ints, Column]]:
    """Return the sheets that have one part in common, with what is known of it.

    ``given`` has the shape (fields of the part, sheets); only parts on several sheets count.
    """
    found: list[tuple[list[int], Column]] = []
    for sheet, fields in enumerate(given.T):
        for at, (sheets, known) in enumerate(found):
            away = np.abs(fields - known) > _SAME * np.abs(known)
            if not away[~np.isnan(fields) & ~np.isnan(known)].any():
                sheets.append(sheet)
                found[at] = (sheets, np.where(np.isnan(known), fields, known))
                break
        else:
            found.append(([sheet], fields.copy()))
    return [(np.array(sheets), known) for sheets, known in found if len(sheets) > 1]


#: A field, and the rows of the sheets that share it.
Shared = tuple[str, "Ints"]
