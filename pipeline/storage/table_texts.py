"""What a table of unknown origin says in words, read lot by lot: bounded, whatever it claims.

A parquet file of a few kilobytes may claim a table of gigabytes. Its claims are checked first, and
texts that many rows share are read once.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import pandas as pd

from pullbook.schemas.errors import PullbookError

if TYPE_CHECKING:
    from collections.abc import Sequence

#: Most rows of a table, most bytes of one of its columns within a part, and most characters of
#: different texts.
_MOST_ROWS, _MOST_COLUMN, _MOST_CHARS = 200_000_000, 200_000_000, 400_000_000
_LOT = 20_000


class TableError(PullbookError, ValueError):
    """A table that is damaged, or too large to be searched."""


def columns(data: bytes) -> list[str]:
    """Return the names of the columns of a parquet file, an index among them.

    Raises
    ------
    TableError
        It is damaged.

    """
    return [str(name) for name in _opened(data).schema_arrow.names]


def rows(data: bytes, names: Sequence[str]) -> pd.DataFrame:
    """Return the different rows of some columns, as texts.

    Raises
    ------
    TableError
        It is damaged, or larger than what is searched.

    """
    from pyarrow import ArrowException, types  # noqa: PLC0415 - slow to import

    found: dict[tuple[str, ...], None] = {}
    size = 0
    try:
        lots = _opened(data, names).iter_batches(_LOT, columns=list(names), use_threads=False)
        for lot in lots:
            table = lot.replace_schema_metadata(None).to_pandas(use_threads=False)
            nested = [field.name for field in lot.schema if types.is_nested(field.type)]
            table = table.assign(**{name: table[name].map(str) for name in nested})
            for row in table[list(names)].drop_duplicates().itertuples(index=False, name=None):
                texts = tuple(map(str, row))
                size += 0 if texts in found else sum(map(len, texts))
                found[texts] = None
                if size > _MOST_CHARS:
                    msg = "it is too large"
                    raise TableError(msg)
    except (OSError, ArrowException) as fault:
        raise TableError(str(fault)) from fault
    return pd.DataFrame(list(found), columns=list(names), dtype="str")


def words(data: bytes) -> str:
    """Return the different texts of all columns that hold texts, a line each.

    Raises
    ------
    TableError
        It is damaged, or larger than what is searched.

    """
    from pyarrow import types  # noqa: PLC0415 - slow to import

    plain = (types.is_primitive, types.is_null)
    said = [
        field.name
        for field in _opened(data).schema_arrow
        if not any(is_plain(field.type) for is_plain in plain)
    ]
    return "\n".join(text for name in said for text in rows(data, [name])[name])


def _opened(data: bytes, names: Sequence[str] = ()) -> Any:
    """Return the file, its claims checked, to read some columns of texts that rows may share."""
    from pyarrow import ArrowException, parquet, types  # noqa: PLC0415 - slow to import

    try:
        file = parquet.ParquetFile(io.BytesIO(data), pre_buffer=False)
        shared = (types.is_string, types.is_large_string, types.is_dictionary)
        texts = [
            name for name in names
            if any(one(file.schema_arrow.field(name).type) for one in shared)
        ]  # fmt: skip
        if texts:
            file = parquet.ParquetFile(
                io.BytesIO(data), pre_buffer=False, read_dictionary=texts, metadata=file.metadata
            )
    except (OSError, KeyError, ArrowException) as fault:
        raise TableError(str(fault)) from fault
    claims = file.metadata
    largest = max(
        (
            claims.row_group(group).column(at).total_uncompressed_size
            for group in range(claims.num_row_groups)
            for at in range(claims.num_columns)
        ),
        default=0,
    )
    if claims.num_rows > _MOST_ROWS or largest > _MOST_COLUMN:
        msg = "it is too large"
        raise TableError(msg)
    return file
