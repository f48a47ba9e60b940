"""Measured pulls: sheets with their readings at the reference condition."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.curation.checked_tables import Columns
from pullbook.pipeline.reading.find_sheets import SHEET_FILES, NothingToReadError
from pullbook.pipeline.values.sheet import Sheet
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pullbook.model.learning.sample import Floats
    from pullbook.pipeline.settings.shop_settings import Settings

#: What makes the level of a sheet less certain.
_DOUBTS = ("factor_sd", "doubt_sd")


class MeasureError(InputError):
    """A sheet that cannot be compared with a prediction; the message says why."""


class Pull(NamedTuple):
    """A sheet and its readings at the reference condition, rev/min and lb-ft.

    ``doubt`` is the variance of its level beyond the ordinary, on the logarithmic scale.
    """

    sheet: Sheet
    rpm: Floats
    torque: Floats
    doubt: float = 0.0


def pulls(paths: Sequence[Path], settings: Settings | None = None) -> list[Pull]:
    """Return the sheets of some files or folders with their readings at the reference condition.

    Sheets that the checks refuse are kept, with no readings.

    Raises
    ------
    NothingToReadError
        A path does not exist, or there is no sheet.

    """
    found = checked_sheets.read(list(paths), check_sheet.SHEET_RULES, settings).sheets
    return [of_sheet(sheet) for sheet in found]


def of_sheet(sheet: Sheet) -> Pull:
    """Return a checked sheet with its readings at the reference condition, none if refused."""
    columns = Columns()
    columns.add(sheet, sheet.source, 0)
    doubt = sum(columns.sheets[name][0] ** 2 for name in _DOUBTS) if sheet.accepted else 0.0
    return Pull(sheet, np.array(columns.rpm), np.array(columns.torque), doubt)


def pull(path: Path) -> Pull:
    """Return the one sheet of a file with its readings at the reference condition.

    Raises
    ------
    MeasureError
        The file holds several sheets, or one that the checks refuse.
    NothingToReadError
        There is no such file.

    """
    found = pulls([path])
    if len(found) != 1:
        msg = f"{path} holds {len(found)} sheets; name a file that holds one"
        raise MeasureError(msg)
    sound(found[0])
    return found[0]


def own_pull(path: Path) -> Pull | None:
    """Return the pull in a file of one sheet; ``None`` for a file that holds a build alone.

    Raises
    ------
    MeasureError
        There are readings, and the checks refuse the sheet.

    """
    if path.suffix.casefold() not in SHEET_FILES:
        return None
    try:
        found = pulls([path])
    except NothingToReadError:
        return None
    if len(found) != 1 or not found[0].sheet.readings:
        return None
    sound(found[0])
    return found[0]


def of_curated(row: pd.Series, pull: pd.DataFrame) -> Pull:
    """Return a curated sheet as a measured pull.

    Parameters
    ----------
    row
        Its row in the curated builds.
    pull
        Its curated readings.

    """
    values = {str(name): value for name, value in row.items() if pd.notna(value)}
    for name in ("sheet_id", "displacement", "engine"):
        values.pop(name, None)
    doubt = sum(float(row[name]) ** 2 for name in _DOUBTS)
    rpm, torque = (pull[name].to_numpy(dtype=float) for name in ("rpm", "torque"))
    sheet = Sheet(sheet_id=str(row["sheet_id"]), source="", values=values)
    return Pull(sheet, rpm, torque, doubt)


def sound(found: Pull) -> None:
    """Raise if the checks refuse the sheet of a pull.

    Raises
    ------
    MeasureError
        They do; the message is theirs.

    """
    if found.sheet.fault is not None:
        raise MeasureError(found.sheet.fault.message, file=found.sheet.source)
