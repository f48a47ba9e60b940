"""Builds as one typed table: a row a build, a column a field of the curated data set."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from schemas.fields import CURATED_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from pipeline.sheet import Sheet


def fields_of(rows: Sequence[Mapping[str, Any]]) -> dict[str, pd.Series]:
    """Return the columns of curated fields; a row lacks what it does not say."""
    return {
        name: pd.Series([row.get(name) for row in rows], dtype=FIELDS[name].dtype)
        for name in CURATED_FIELDS
    }


def typed_builds(sheets: Iterable[Sheet]) -> pd.DataFrame:
    """Return the fields of sheets as a typed table, a row a sheet, in the order given."""
    table = pd.DataFrame(fields_of([{**s.values, "sheet_id": s.sheet_id} for s in sheets]))
    table["aspiration"] = table["aspiration"].fillna("natural")
    return table
