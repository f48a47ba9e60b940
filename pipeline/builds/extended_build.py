"""A build that begins from another: ``extend: other.yaml`` takes its fields, and changes some.

Only a build file can extend, and only a build file. The other build is read and judged by itself,
in its own spelling of numbers, so that what is wrong with one of its values is told with its name
and row. What is taken over stands, for later findings, in the row that says ``extend``.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import checked_sheets, field_rules
from pullbook.pipeline.reading import sheet_file
from pullbook.pipeline.values.cells import is_missing
from pullbook.pipeline.values.headings import PLAIN, squash
from pullbook.pipeline.values.sheet import Cell
from pullbook.schemas.fields import FIELDS, Kind
from pullbook.schemas.findings import Finding, refused

if TYPE_CHECKING:
    from pullbook.pipeline.values.headings import Headings
    from pullbook.pipeline.values.sheet import RawSheet
    from pullbook.schemas.fields import Field, Value

EXTEND = "extend"
#: How a build file is named.
ENDINGS = (".yaml", ".yml")
#: Most files that one build is read from.
MOST_FILES = 8
#: What a build has for itself alone.
_OWN = "sheet_id"


def read_build(path: Path, headings: Headings = PLAIN) -> RawSheet:
    """Read a build file, and what it takes from the build that it extends.

    Parameters
    ----------
    path
        The file.
    headings
        What headings mean, in every file.

    Returns
    -------
    The build with all its fields. What is wrong, also with ``extend`` itself, is a finding; of
    another file only what was found in a field that is taken over.

    """
    sheet = sheet_file.read_build(path, headings)
    files = [path]
    found = _take_over(sheet, files)
    sheet.findings += found
    sheet.files = tuple(files)
    return sheet


def _take_over(sheet: RawSheet, files: list[Path]) -> list[Finding]:
    """Add what a build takes from the one it extends; return what was found in that.

    ``files`` are those read so far, the build's own last; what is read is added to them.
    """
    asked = [f for f in sheet.findings if squash(f.field or "") == EXTEND and f.value is not None]
    sheet.findings = [f for f in sheet.findings if f not in asked]
    if not asked or all(is_missing(f.value or "") for f in asked):
        return []
    row, name = asked[0].row or 1, (asked[0].value or "").strip()
    path = files[-1].parent / name
    fault = _twice(asked) or _misnamed(name) or _absent(path) or _too_long(path, files)
    if fault is None:
        base = sheet_file.read_build(path, sheet.headings)
        if base.fields or base.findings:
            files.append(path)
            return _merged(sheet, base, row, files)
        fault = f"{path} holds no build: there is no field in it"
    sheet.findings.append(Finding("not-readable", f"{EXTEND}: {fault}", EXTEND, row, name))
    return []


def _merged(sheet: RawSheet, base: RawSheet, row: int, files: list[Path]) -> list[Finding]:
    """Add the fields of a base that the build does not give; return what was found in them."""
    own = {*sheet.fields, _OWN}
    path = files[-1]
    further = _take_over(base, files)
    typed = checked_sheets.check(base, (field_rules.ranges,))
    found = [_told(finding, path) for finding in typed.findings] + further
    unfit = {finding.field for finding in found if refused([finding])}
    for name, value in typed.values.items():
        if name not in own | unfit:
            sheet.fields[name] = Cell(_written(value, FIELDS[name]), row)
    return [replace(finding, row=row) for finding in found if finding.field not in own]


def _told(finding: Finding, path: Path) -> Finding:
    """Return a finding of another file so that its message names the file and the row."""
    if path.name in finding.message:
        return finding
    row = "" if finding.row is None else f", row {finding.row}"
    return replace(finding, message=f"{path}{row}: {finding.message}")


def _written(value: Value, field: Field) -> str:
    """Return a value as a text that reads as that value, whatever mark other numbers have.

    >>> _written(3.626, FIELDS["stroke"]), _written(True, FIELDS["muffled"])
    ('3626e-3 in', 'yes')
    """
    if field.kind is Kind.FLAG:
        return "yes" if value else "no"
    if field.kind is not Kind.NUMBER:
        return str(value)
    number = Decimal(repr(value))
    whole = number.scaleb(-int(number.as_tuple().exponent))
    return f"{whole:f}e{number.as_tuple().exponent} {field.unit}"


def _twice(asked: list[Finding]) -> str | None:
    if len(asked) == 1:
        return None
    return f"it is given twice, in rows {asked[0].row} and {asked[1].row}; keep one"


def _misnamed(name: str) -> str | None:
    whole = PurePosixPath(name).is_absolute() or PureWindowsPath(name).anchor
    if whole:
        return f"{name!r} is a whole path; name the file by where it lies from this one"
    if PurePosixPath(name).suffix.casefold() not in ENDINGS:
        return f"{name!r} is not a build file ({', '.join(ENDINGS)})"
    return None


def _absent(path: Path) -> str | None:
    try:
        there = path.is_file()
    except (OSError, ValueError):  # a name that no file can have, or a folder that is shut
        there = False
    return None if there else f"there is no file {path}; check its name and where it lies"


def _too_long(path: Path, files: list[Path]) -> str | None:
    """Tell what is wrong with a chain of files that goes on with ``path``."""
    if path.resolve() in [file.resolve() for file in files]:
        chain = " extends ".join(file.name for file in [*files, path])
        return f"builds go round in a circle ({chain}); take it out of one of them"
    if len(files) >= MOST_FILES:
        return f"more than {MOST_FILES} files extend one another; write the fields into fewer"
    return None
