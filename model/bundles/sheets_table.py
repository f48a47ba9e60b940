"""The table of builds in a bundle: its size, columns, types and values, before it is used."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.bundles.bundle_folder import BundleError
from pullbook.schemas import curated_tables
from pullbook.schemas.fields import CURATED_FIELDS, FIELDS

if TYPE_CHECKING:
    from pullbook.schemas.field import Field

#: Most sheets of a bundle, most characters of a text in one, and most bytes of a column.
MOST_SHEETS, _MOST_CHARS, _MOST_COLUMN = 40_000, 400, 8_000_000
_TEXT, _NUMBER, _WHOLE, _YES_NO = "str", "float64", "Int64", "boolean"


def read(data: bytes) -> pd.DataFrame:
    """Return the builds of a bundle, with every curated field.

    Raises
    ------
    BundleError
        The table is too large, or does not hold builds.

    """
    from pyarrow import ArrowException  # noqa: PLC0415 - slow to import

    try:
        return curated_tables.complete(_table(data))
    except (ValueError, TypeError, KeyError, OSError, OverflowError, ArrowException) as fault:
        msg = f"the bundle does not verify: its sheets are not valid ({fault}); train it again"
        raise BundleError(msg) from fault


def _table(data: bytes) -> pd.DataFrame:
    import pyarrow as pa  # noqa: PLC0415 - slow to import
    from pyarrow import parquet  # noqa: PLC0415 - slow to import

    with parquet.ParquetFile(io.BytesIO(data), pre_buffer=False) as file:
        schema, metadata = file.schema_arrow, file.metadata
    _check_claims(metadata, schema)
    plain = {pa.int64(): _WHOLE, pa.bool_(): _YES_NO, pa.float64(): _NUMBER}
    texts = [field.name for field in schema if field.type not in plain]
    # A text that many rows share is read once, so a small file cannot become a large table.
    with parquet.ParquetFile(io.BytesIO(data), pre_buffer=False, read_dictionary=texts) as file:
        found = file.read(use_threads=False).replace_schema_metadata(None)
    for at, name in enumerate(found.column_names):
        column = found.column(at)
        kind = plain.get(column.type, _TEXT if pa.types.is_dictionary(column.type) else "")
        if kind != FIELDS[name].dtype or not _is_sound(column, FIELDS[name]):
            msg = f"values of {FIELDS[name].label}"
            raise ValueError(msg)
        if kind == _TEXT:
            found = found.set_column(at, name, column.cast(pa.string()))
    given = {pa.int64(): pd.Int64Dtype(), pa.bool_(): pd.BooleanDtype()}
    table: pd.DataFrame = found.to_pandas(types_mapper=given.get, use_threads=False)
    if not table["sheet_id"].is_unique:
        msg = "two sheets have one sheet ID"
        raise ValueError(msg)
    return table


def _check_claims(metadata: Any, schema: Any) -> None:
    own = len(set(schema.names)) == len(schema.names) and set(schema.names) <= set(CURATED_FIELDS)
    if not own or not 0 < metadata.num_rows <= MOST_SHEETS:
        msg = f"{metadata.num_rows} rows of {len(schema.names)} columns"
        raise ValueError(msg)
    for group in range(metadata.num_row_groups):
        row_group = metadata.row_group(group)
        for at in range(row_group.num_columns):
            if row_group.column(at).total_uncompressed_size > _MOST_COLUMN:
                msg = "a column is too large"
                raise ValueError(msg)


def _is_sound(column: Any, field: Field) -> bool:
    """Return whether a column holds what its field may."""
    if field.required and column.null_count:
        return False
    if field.dtype == _TEXT:
        texts = {text for chunk in column.chunks for text in chunk.dictionary.to_pylist()}
        return (texts <= set(field.choices)) if field.choices else all(map(_is_text, texts))
    if field.low is None or field.high is None:
        return True
    values = column.drop_null().to_numpy()
    slack = 1e-9 * max(abs(field.low), abs(field.high))
    inside = (values >= field.low - slack) & (values <= field.high + slack)
    return bool((inside | np.isnan(values)).all())


def _is_text(text: object) -> bool:
    return isinstance(text, str) and len(text) <= _MOST_CHARS
