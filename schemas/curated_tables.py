"""Pandera schemas of the curated tables, made from the field dictionary.

They check the data that the pipeline hands to the model. Cells are parsed and checked one by one
before that, because a coercing schema hides the other faults of a column. So these schemas take
typed frames and never coerce.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import pandas as pd
import pandera.pandas as pa

from pullbook.schemas.fields import CURATED_FIELDS, FIELDS, PULL_FIELDS
from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.severity import Severity

if TYPE_CHECKING:
    from pullbook.schemas.field import Field

#: How a curated sheet was brought to the reference condition.
ROUTES = ("weather", "nominal", "stated")

_ALWAYS = ("sheet_id", "shop", "aspiration")


def _column(field: Field) -> pa.Column:
    checks = []
    if field.choices:
        checks.append(pa.Check.isin(field.choices))
    if field.low is not None and field.high is not None:
        # A value with a unit of its own was converted; allow for the rounding of that.
        slack = 1e-9 * max(abs(field.low), abs(field.high))
        checks.append(pa.Check.in_range(field.low - slack, field.high + slack))
    required = field.required or field.name in _ALWAYS
    return pa.Column(field.dtype, checks, nullable=not required)


@cache
def builds_schema() -> pa.DataFrameSchema:
    """Return the schema of curated builds, one row per sheet."""
    columns = {name: _column(FIELDS[name]) for name in CURATED_FIELDS}
    columns["route"] = pa.Column("str", pa.Check.isin(ROUTES))
    columns["factor"] = pa.Column("float64", pa.Check.in_range(0.5, 2.0))
    columns["factor_sd"] = pa.Column("float64", pa.Check.in_range(0.0, 0.5))
    columns["doubt_sd"] = pa.Column("float64", pa.Check.in_range(0.0, 0.5))
    columns["content"] = pa.Column("str")
    columns["copies"] = pa.Column("int64", pa.Check.ge(1))
    return pa.DataFrameSchema(columns, unique=["sheet_id"], strict=True)


def complete(builds: pd.DataFrame) -> pd.DataFrame:
    """Return curated builds with every field: blank, if it did not exist when they were written."""
    blank = {
        name: pd.Series([None] * len(builds), dtype=FIELDS[name].dtype, index=builds.index)
        for name in CURATED_FIELDS
        if name not in builds
    }
    return builds.assign(**blank)


@cache
def pulls_schema() -> pa.DataFrameSchema:
    """Return the schema of curated pulls, one row per reading, at the reference condition."""
    number = {"rpm": PULL_FIELDS["rpm"], "torque": PULL_FIELDS["torque"]}
    columns = {
        "sheet_id": pa.Column("str"),
        "pull": pa.Column("int64", pa.Check.ge(0)),
        **{name: _column(field) for name, field in number.items()},
        "power": pa.Column("float64", pa.Check.gt(0)),
    }
    columns["torque"] = pa.Column("float64", pa.Check.gt(0))
    return pa.DataFrameSchema(columns, strict=True)


@cache
def findings_schema() -> pa.DataFrameSchema:
    """Return the schema of the findings stored with the curated tables."""
    return pa.DataFrameSchema(
        {
            "sheet_id": pa.Column("str"),
            "source": pa.Column("str"),
            "code": pa.Column("str", pa.Check.isin(tuple(CODES))),
            "severity": pa.Column("str", pa.Check.isin([s.value for s in Severity])),
            "field": pa.Column("str", nullable=True),
            "row": pa.Column("Int64", nullable=True),
            "value": pa.Column("str", nullable=True),
            "message": pa.Column("str"),
        },
        strict=True,
    )
