"""A curated data set: its tables, written and read whole."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pullbook.schemas import curated_tables
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.pipeline.privacy.withdraw import Withdrawn


BUILDS, PULLS, FINDINGS = "builds.parquet", "pulls.parquet", "findings.parquet"


@dataclass(slots=True)
class Curated:
    """A curated data set.

    Attributes
    ----------
    builds
        A row a sheet: its fields, how its torque came to the reference condition (``route``,
        ``factor`` and ``factor_sd``, the relative standard deviation that the route adds),
        ``doubt_sd``, what its warnings add, ``content``, a digest of all that the sheet says, and
        ``copies``, how many sheets say the same.
    pulls
        A row a reading: ``sheet_id``, ``pull``, ``rpm``, ``torque`` in lb-ft and ``power`` in hp
        at the flywheel under the reference condition.
    findings
        A row a finding, those of refused sheets too.
    refused
        How many sheets were refused.
    refused_before
        How many more were refused when they were contributed; their findings are there too.
    replaced
        How many were accepted and replaced by a later sheet of the same shop and name.
    withdrawn
        How many were left out because they were asked back.
    not_found
        What was asked back and is in none of the contributions.
    """

    builds: pd.DataFrame
    pulls: pd.DataFrame
    findings: pd.DataFrame
    refused: int
    refused_before: int
    replaced: int
    withdrawn: int
    not_found: list[Withdrawn]

    def write(self, folder: Path) -> None:
        """Write the three tables into a folder, made if need be; what was there gives way last."""
        write(folder, {BUILDS: self.builds, PULLS: self.pulls, FINDINGS: self.findings})


def write(folder: Path, tables: Mapping[str, pd.DataFrame]) -> None:
    """Write tables of a data set into a folder, made if need be, all or none of them."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in tables.items():
        table.to_parquet(folder / f".{name}.part", index=False)
    for name in tables:
        (folder / f".{name}.part").replace(folder / name)


class NotCuratedError(InputError):
    """A folder that holds no curated data set, or one that breaks its schema."""


def load(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return builds and pulls of a curated folder.

    Raises
    ------
    NotCuratedError
        The tables are not there, or not what curating writes.

    """
    from pandera.errors import SchemaError, SchemaErrors  # noqa: PLC0415 - slow to import
    from pyarrow import ArrowException  # noqa: PLC0415 - slow to import

    try:
        builds = pd.read_parquet(folder / BUILDS)
        pulls = pd.read_parquet(folder / PULLS)
        curated_tables.builds_schema().validate(builds, lazy=True)
        curated_tables.pulls_schema().validate(pulls, lazy=True)
    except (OSError, ArrowException) as fault:
        msg = f"{folder} holds no curated data set; make one with: pullbook curate"
        raise NotCuratedError(msg) from fault
    except (SchemaError, SchemaErrors) as fault:
        msg = f"{folder} is not as curating writes it; curate again"
        raise NotCuratedError(msg) from fault
    return builds, pulls


def load_findings(folder: Path) -> pd.DataFrame:
    """Return the findings of a curated folder.

    Raises
    ------
    NotCuratedError
        The table is not there.

    """
    from pyarrow import ArrowException  # noqa: PLC0415 - slow to import

    try:
        return pd.read_parquet(folder / FINDINGS)
    except (OSError, ArrowException) as fault:
        msg = f"{folder} holds no findings; make them with: pullbook curate"
        raise NotCuratedError(msg) from fault
