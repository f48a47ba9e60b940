"""A paper sheet that somebody types in: fields and a grid of readings into a sheet file."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

from pullbook.guards.inside_folder import inside, plain_name
from pullbook.pipeline.privacy.contributed_sheet import assemble, yaml_scalar
from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import FIELDS
from pullbook.workspace.build_fields import with_units
from pullbook.workspace.folder import INBOX

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pullbook.words.units import Units
    from pullbook.workspace.folder import Folder

_MOST_ROWS = 2000


class TypedSheetError(InputError):
    """What was typed in cannot be a sheet; the message says what is missing."""


def rows_of(pasted: str) -> list[list[str]]:
    r"""Return rows of a grid as people paste them: tabs, semicolons, commas or spaces between.

    >>> rows_of("rpm\ttorque\n2000\t300,5\n\n2500;310\n3000 315")
    [['rpm', 'torque'], ['2000', '300,5'], ['2500', '310'], ['3000', '315']]
    """
    found = []
    for line in pasted.splitlines():
        mark = next((one for one in "\t;" if one in line), None)
        commas = mark is None and "," in line
        cells = next(csv.reader([line])) if commas else line.split(mark)
        row = [cell.strip() for cell in cells]
        if any(row):
            found.append(row)
    return found


def text_of(given: Mapping[str, str], pasted: str, units: Units) -> str:
    """Return the sheet file.

    Raises
    ------
    TypedSheetError
        There is no name or no reading.

    """
    rows = rows_of(pasted)
    if not rows or len(rows) > _MOST_ROWS:
        msg = "Type at least one row of rpm and torque, such as: 2500 356"
        raise TypedSheetError(msg, field="readings")
    if not given.get("sheet_id", "").strip():
        msg = "Give the sheet a name, such as the number on the paper"
        raise TypedSheetError(msg, field="sheet_id")
    if not any(letter.isalpha() for cell in rows[0] for letter in cell):
        heads = ["rpm", f"torque ({units.torque})", f"power ({units.power})"]
        rows.insert(0, heads[: max(map(len, rows))])
    fields = with_units(given, units)
    lines = [f"{name}: {yaml_scalar(text)}" for name, text in fields.items() if name in FIELDS]
    return assemble(lines, rows)


def save(folder: Folder, given: Mapping[str, str], pasted: str, units: Units) -> Path:
    """Save what was typed in as a sheet file of its own.

    Raises
    ------
    InputError
        It is no sheet, or cannot be saved.

    """
    text = text_of(given, pasted, units)
    path = inside(folder.top, INBOX, f"{plain_name(given['sheet_id'].strip())}.csv")
    return folder.save_new(path, text.encode())
