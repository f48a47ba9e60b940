"""Builds from wherever they are kept: a build file, a sheet file, a table, a workbook, fields.

A build is read and checked once, here; everything that answers questions takes the typed `Build`.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.builds import extended_build
from pullbook.pipeline.builds.extended_build import write_value
from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.files import text_file, workbook
from pullbook.pipeline.layout.raw_fields import add_field
from pullbook.pipeline.reading import sheet_file, tables
from pullbook.pipeline.reading.find_sheets import SHEET_FILES, NothingToReadError
from pullbook.pipeline.settings import shop_settings
from pullbook.pipeline.settings.follow_settings import follow
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.schemas.errors import not_there
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Build
    from pullbook.pipeline.vocabulary.headings import Headings
    from pullbook.schemas.field import Value


#: A file of saved answers: its ending, and the entry that tells it from other JSON.
SAVED_ENDING, SAVED = ".json", "pullbook_answers"


def saved(path: Path) -> dict[str, Any]:
    """Return what a file of saved answers holds: ``answers``, each with its ``build``.

    Raises
    ------
    NothingToReadError
        There is no such file, or it was not written by ``pullbook predict --save``.

    """
    if not path.exists():
        raise NothingToReadError(not_there(path))
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        builds = [one["build"] for one in found["answers"]]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        found, builds = {}, []
    if SAVED not in found or not builds or not all(isinstance(one, dict) for one in builds):
        msg = f"{path} holds no saved answers; write them with pullbook predict --save"
        raise NothingToReadError(msg)
    made: dict[str, Any] = found
    return made


def _saved_build(fields: Mapping[str, Any], path: Path) -> RawSheet:
    """Return a build as it was saved, its numbers in the units of the field dictionary."""
    raw = RawSheet(str(fields.get("sheet_id", path.stem)), str(path))
    for name, value in fields.items():
        if name != "sheet_id" and value is not None:
            known = name in FIELDS and isinstance(value, str | int | float)
            add_field(raw, name, write_value(value, FIELDS[name]) if known else str(value), 1)
    return raw


def raw_builds(path: Path) -> list[RawSheet]:
    """Read builds as text: of a build file, a sheet file, a table of builds or a workbook.

    The shop's settings beside the file say what its headings and words mean.

    Raises
    ------
    NothingToReadError
        The path does not exist, or is not a kind of file that holds builds.

    """
    settings = shop_settings.beside(path, [path if path.is_dir() else path.parent])
    found = _raw_builds(path, settings.headings)
    for raw in found:
        follow(settings, raw)
    return found


def _raw_builds(path: Path, headings: Headings) -> list[RawSheet]:
    if path.is_dir():
        path = tables.table_in(path, tables.BUILDS) or path
    suffix = path.suffix.casefold()
    if not path.exists():
        raise NothingToReadError(not_there(path))
    if suffix == SAVED_ENDING and path.is_file():
        return [_saved_build(one["build"], path) for one in saved(path)["answers"]]
    if not path.is_file() or suffix not in extended_build.ENDINGS + SHEET_FILES:
        msg = (
            f"{path} is not a file of builds. Builds are in .yaml, .csv or .xlsx files, or in"
            " answers saved as .json."
        )
        raise NothingToReadError(msg)
    if suffix in extended_build.ENDINGS:
        return [extended_build.read_build(path, headings)]
    if suffix in workbook.WORKBOOKS:
        return tables.read_workbook(path, headings)
    try:
        text, _ = text_file.read(path, text_file.TABLE_BYTES)
        if sheet_file.has_front_matter(text):
            return sheet_file.read(path, headings)
        rows, notes = tables.csv_table(path, headings.sheet)
    except text_file.UnreadableError as error:
        raise NothingToReadError(str(error)) from error
    return tables.assemble(rows, None, str(path), headings, notes)


def read(path: Path) -> list[Build]:
    """Return the builds in a file, typed and checked; what is wrong with one is a finding.

    Raises
    ------
    NothingToReadError
        The path does not exist, or describes no builds.

    """
    raws = raw_builds(path)
    if not raws:
        msg = f"{path} holds no builds"
        raise NothingToReadError(msg)
    return [_checked(raw) for raw in raws]


def _checked(raw: RawSheet) -> Build:
    """Return a build typed and checked; no boost on a natural engine is nothing to say."""
    build = checked_sheets.check(raw, check_sheet.BUILD_RULES)
    natural = build.values.get("aspiration") in (None, "natural")
    if natural and build.values.get("boost") == 0:
        build.values = {name: one for name, one in build.values.items() if name != "boost"}
    return build


def of_fields(fields: Mapping[str, object]) -> Build:
    """Return the build that fields describe, typed and checked.

    Parameters
    ----------
    fields
        By name: numbers in the units of the field dictionary, texts as they would stand on a sheet
        (``"102 mm"``).

    """
    raw = RawSheet(str(fields.get("sheet_id", "build")), "Python")
    for row, (name, value) in enumerate(fields.items(), start=1):
        text = ("yes" if value else "no") if isinstance(value, bool) else str(value)
        if name != "sheet_id" and value is not None:
            add_field(raw, name, text, row)
    return _checked(raw)


def changed(build: Build, name: str, values: Mapping[str, Value]) -> Build:
    """Return a build under another name with some of its fields changed, checked anew."""
    own = {**build.values, **values, "sheet_id": name}
    derived = build.derived - set(values)
    return check_sheet.judge(
        replace(build, sheet_id=name, values=own, derived=derived, findings=[]),
        check_sheet.BUILD_RULES,
    )
