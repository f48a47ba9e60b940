"""Builds as one typed table: one row per build, one column per field of the curated data set."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import CURATED_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pullbook.pipeline.values.sheet import Build


def typed_builds(sheets: Iterable[Build]) -> pd.DataFrame:
    """Return the fields of sheets as a typed table, one row per sheet, in the same order.

    Raises
    ------
    InputError
        A build leaves the size of its engine to a measured sheet that nobody looked for.

    """
    sheets = list(sheets)
    for sheet in sheets:
        if sheet.values.get("cylinders") is None:
            msg = "cylinders is missing, and no answer here starts from a measured sheet; add it"
            raise InputError(msg, file=sheet.sheet_id)
    rows = [{**sheet.values, "sheet_id": sheet.sheet_id} for sheet in sheets]
    table = pd.DataFrame(
        {
            name: pd.Series([row.get(name) for row in rows], dtype=FIELDS[name].dtype)
            for name in CURATED_FIELDS
        }
    )
    table["aspiration"] = table["aspiration"].fillna("natural")
    return table
