"""Read builds from a build file, a sheet file, a table or a workbook."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pullbook.pipeline.builds import extended_build
from pullbook.pipeline.reading import sheet_file, tables, text_file
from pullbook.pipeline.reading.find_sheets import SHEET_FILES, NothingToReadError
from pullbook.pipeline.values.headings import PLAIN

if TYPE_CHECKING:
    from pullbook.pipeline.values.headings import Headings
    from pullbook.pipeline.values.sheet import RawSheet


def builds(path: Path, headings: Headings = PLAIN) -> list[RawSheet]:
    """Read the builds to predict from a build file, a sheet file, a table or a workbook.

    Raises
    ------
    NothingToReadError
        The path does not exist, or is not a kind of file that holds builds.

    """
    if path.is_dir():
        path = tables.table_in(path, tables.BUILDS) or path
    suffix = path.suffix.casefold()
    if not path.is_file() or suffix not in extended_build.ENDINGS + SHEET_FILES:
        msg = f"{path} is not a file of builds. Builds are in .yaml, .csv or .xlsx files."
        raise NothingToReadError(msg)
    if suffix in extended_build.ENDINGS:
        return [extended_build.read_build(path, headings)]
    if suffix == ".xlsx":
        return tables.read_workbook(path, headings)
    try:
        text, _ = text_file.read(path, text_file.TABLE_BYTES)
        if sheet_file.has_front_matter(text):
            return [sheet_file.read(path, headings)]
        rows, notes = tables.csv_table(path, headings.sheet)
    except text_file.UnreadableError as error:
        raise NothingToReadError(str(error)) from error
    return tables.assemble(rows, None, str(path), headings, notes)
