"""A curated data set: write its tables, and read them back."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pullbook.pipeline.storage import whole_writes
from pullbook.schemas import curated_tables
from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from collections.abc import Mapping


BUILDS, PULLS, FINDINGS = "builds.parquet", "pulls.parquet", "findings.parquet"


@dataclass(slots=True)
class Curated:
    """A curated data set.

    Attributes
    ----------
    builds
        One row per sheet: its fields; its route to the reference condition (``route``, ``factor``,
        and ``factor_sd``, the relative standard deviation that the route adds); ``doubt_sd``, the
        one that its warnings add; ``content``, a digest of the sheet; and ``copies``, the number
        of sheets with the same curve.
    pulls
        One row per reading: ``sheet_id``, ``pull``, ``rpm``, ``torque`` in lb-ft and ``power`` in
        hp at the flywheel under the reference condition.
    findings
        One row per finding, also of refused sheets.
    refused
        Number of sheets that were refused.
    refused_before
        Number of sheets that were refused when contributed; their findings are included.
    replaced
        Number of accepted sheets that a later sheet of the same shop and name replaced.
    withdrawn
        Number of sheets left out because they were withdrawn.
    stopped
        Codes of shops that were handed over to more than one key; these hand-overs do not count.
    """

    builds: pd.DataFrame
    pulls: pd.DataFrame
    findings: pd.DataFrame
    refused: int
    refused_before: int
    replaced: int
    withdrawn: int
    stopped: list[str]

    def write(self, folder: Path) -> None:
        """Write the three tables to a folder; it is made if it does not exist."""
        write(folder, {BUILDS: self.builds, PULLS: self.pulls, FINDINGS: self.findings})


def write(folder: Path, tables: Mapping[str, pd.DataFrame]) -> None:
    """Write tables to a folder, all or none of them; it is made if it does not exist."""
    whole_writes.write_folder(folder, {name: _as_parquet(one) for name, one in tables.items()})


def _as_parquet(table: pd.DataFrame) -> bytes:
    out = BytesIO()
    table.to_parquet(out, index=False)
    return out.getvalue()


class NotCuratedError(InputError):
    """A folder without a valid curated data set."""


def load(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return builds and pulls of a curated folder.

    Raises
    ------
    NotCuratedError
        The tables do not exist, or do not match the schema.

    """
    from pandera.errors import SchemaError, SchemaErrors  # noqa: PLC0415 - slow to import
    from pyarrow import ArrowException  # noqa: PLC0415 - slow to import

    must_exist(folder)
    try:
        builds = curated_tables.complete(pd.read_parquet(folder / BUILDS))
        pulls = pd.read_parquet(folder / PULLS)
        curated_tables.builds_schema().validate(builds, lazy=True)
        curated_tables.pulls_schema().validate(pulls, lazy=True)
    except (OSError, ArrowException) as error:
        msg = f"{folder} has no curated data set in it; make one with: pullbook curate"
        raise NotCuratedError(msg) from error
    except (SchemaError, SchemaErrors) as error:
        msg = f"{folder} is not a valid curated data set; curate again with: pullbook curate"
        raise NotCuratedError(msg) from error
    return builds, pulls


def load_findings(folder: Path) -> pd.DataFrame:
    """Return the findings of a curated folder.

    Raises
    ------
    NotCuratedError
        The table does not exist.

    """
    from pyarrow import ArrowException  # noqa: PLC0415 - slow to import

    try:
        return pd.read_parquet(folder / FINDINGS)
    except (OSError, ArrowException) as error:
        msg = f"{folder} has no findings in it; make them with: pullbook curate"
        raise NotCuratedError(msg) from error
