"""A build that starts from another one: ``extend: other.yaml`` takes over its fields.

Only a build file can extend another, which must be a build file too. The other build is read and
checked by itself, with its own decimal mark, so that a finding names its file and row. For later
findings, a value that was taken over is in the row of ``extend``.
"""

from __future__ import annotations

import os
from dataclasses import replace
from decimal import Decimal
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import checked_sheets, field_rules
from pullbook.pipeline.reading import sheet_file
from pullbook.pipeline.values.sheet import Cell
from pullbook.pipeline.vocabulary.headings import PLAIN, squash
from pullbook.pipeline.vocabulary.words import is_missing
from pullbook.schemas.errors import not_there
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding, refused

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import RawSheet
    from pullbook.pipeline.vocabulary.headings import Headings
    from pullbook.schemas.field import Field, Value

EXTEND = "extend"
#: Endings of build files.
ENDINGS = (".yaml", ".yml")
#: Most files that one build is read from.
MOST_FILES = 8
#: The field that is never taken over.
_OWN = "sheet_id"


def read_build(path: Path, headings: Headings = PLAIN) -> RawSheet:
    """Read a build file together with the builds that it extends.

    Parameters
    ----------
    path
        The file.
    headings
        The headings that are understood, in every file.

    Returns
    -------
    The build with all its fields. Faults, also of ``extend`` itself, are findings; those of the
    other files only if they are in a field that is taken over.

    """
    sheet = sheet_file.read_build(path, headings)
    files = [path]
    found = _take_over_fields(sheet, files)
    sheet.findings += found
    sheet.files = tuple(files)
    return sheet


def _take_over_fields(sheet: RawSheet, files: list[Path]) -> list[Finding]:
    """Add the fields of the build that a build extends; return the findings in them.

    ``files`` are the files read so far, last the one of ``sheet``; further files are appended.
    """
    lines = [f for f in sheet.findings if squash(f.field or "") == EXTEND and f.value is not None]
    sheet.findings = [f for f in sheet.findings if f not in lines]
    if not lines or all(is_missing(f.value or "") for f in lines):
        return []
    row, name = lines[0].row or 1, (lines[0].value or "").strip()
    path = files[-1].parent / name
    problem = (
        _find_second(lines)
        or _find_bad_name(name)
        or _find_no_file(path)
        or _find_bad_chain(path, files)
    )
    if problem is None:
        base = sheet_file.read_build(path, sheet.headings)
        if base.fields or base.findings:
            files.append(path)
            return _merge(sheet, base, row, files)
        problem = f"{path} has no fields in it. Check that it is a build."
    sheet.findings.append(Finding("not-readable", f"{EXTEND}: {problem}", EXTEND, row, name))
    return []


def _merge(sheet: RawSheet, base: RawSheet, row: int, files: list[Path]) -> list[Finding]:
    """Add the fields of a base that the build does not give; return the findings in them."""
    own = {*sheet.fields, _OWN}
    path = files[-1]
    further = _take_over_fields(base, files)
    typed = checked_sheets.check(base, (field_rules.ranges,))
    found = [_name_file(finding, path) for finding in typed.findings] + further
    unfit = {finding.field for finding in found if refused([finding])}
    for name, value in typed.given.items():
        if name not in own | unfit:
            sheet.fields[name] = Cell(write_value(value, FIELDS[name]), row)
    return [replace(finding, row=row) for finding in found if finding.field not in own]


def _name_file(finding: Finding, path: Path) -> Finding:
    """Return a finding of another file with the file and the row in its message."""
    if path.name in finding.message:
        return finding
    row = "" if finding.row is None else f", row {finding.row}"
    return replace(finding, message=f"{path}{row}: {finding.message}")


def write_value(value: Value, field: Field) -> str:
    """Return a value as a text that is read as that value with any decimal mark.

    >>> write_value(3.626, FIELDS["stroke"]), write_value(True, FIELDS["muffled"])
    ('3626e-3 in', 'yes')
    """
    if field.kind is Kind.FLAG:
        return "yes" if value else "no"
    if field.kind is not Kind.NUMBER:
        return str(value)
    number = Decimal(repr(value))
    whole = number.scaleb(-int(number.as_tuple().exponent))
    return f"{whole:f}e{number.as_tuple().exponent} {field.unit}"


def _find_second(lines: list[Finding]) -> str | None:
    if len(lines) == 1:
        return None
    return f"given twice, in rows {lines[0].row} and {lines[1].row}. Keep one."


def _find_bad_name(name: str) -> str | None:
    absolute = PurePosixPath(name).is_absolute() or PureWindowsPath(name).anchor
    if absolute:
        return f"{name!r} is an absolute path. Write the path from the folder of this file."
    if PurePosixPath(name).suffix.casefold() not in ENDINGS:
        return f"{name!r} is not a build file. Build files end in {' or '.join(ENDINGS)}."
    return None


def _find_no_file(path: Path) -> str | None:
    try:
        exists = path.is_file()
    except (OSError, ValueError):  # an impossible name, or a folder that cannot be opened
        exists = False
    return None if exists else f"{not_there(path)}. Check its name and folder."


def _find_bad_chain(path: Path, files: list[Path]) -> str | None:
    """Return what is wrong with a chain of files that continues with ``path``, if anything."""
    if os.path.realpath(path) in [os.path.realpath(file) for file in files]:
        chain = " extends ".join(file.name for file in [*files, path])
        return f"the builds extend each other in a circle ({chain}). Remove one extend."
    if len(files) >= MOST_FILES:
        return f"more than {MOST_FILES} files extend each other. Put the fields into fewer files."
    return None
