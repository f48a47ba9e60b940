"""A shop's own headings, kept in a file: said once, used again.

The file is YAML, a line a heading: the shop's on the left, ours on the right, with a unit where
its columns have one: ``Bohrung: bore (mm)``.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

from pullbook.pipeline.reading import front_matter, text_file
from pullbook.pipeline.values.headings import PLAIN, Headings, squash
from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import FIELDS, PULL_FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from pullbook.schemas.findings import Finding

_UNKNOWN = ("unknown-field", "unknown-column")


class HeadingsError(InputError):
    """A file of headings that cannot be read, or names what is no field."""


def load(path: Path) -> Headings:
    """Return what headings mean by a shop's file; a heading without a meaning stays unknown.

    Raises
    ------
    HeadingsError
        The file cannot be read, or a meaning is no field of a sheet or a pull.

    """
    return Headings(_meanings(path))


def _meanings(path: Path) -> dict[str, str]:
    meanings = {}
    try:
        text, _ = text_file.read(path)
        for heading, meant, row in front_matter.read(text):
            if not meant.strip():
                continue
            if not (PLAIN.sheet(meant).field or PLAIN.pull(meant).field):
                close = get_close_matches(meant, [*FIELDS, *PULL_FIELDS], 3)
                hint = f"; perhaps {', '.join(close)}" if close else ""
                msg = f"{path}, row {row}: {meant!r} is no field of a sheet or a pull{hint}"
                raise HeadingsError(msg)
            meanings[heading] = meant
    except (text_file.UnreadableError, front_matter.FrontMatterError) as fault:
        msg = f"{path}: {fault}"
        raise HeadingsError(msg) from fault
    return meanings


def unknown(findings: Iterable[Finding]) -> list[str]:
    """Return the headings that findings say are not known, each once, as first met."""
    met: dict[str, str] = {}
    for finding in findings:
        if finding.code in _UNKNOWN and finding.field:
            met.setdefault(squash(finding.field), finding.field)
    return list(met.values())


def save(path: Path, headings: list[str]) -> int:
    """Add headings to a shop's file, each to be given a meaning; return how many were new.

    What stands in the file stays as it is.

    Raises
    ------
    HeadingsError
        There is a file and it cannot be read.

    """
    there: set[str] = set()
    text = "# Your heading on the left; on the right ours, with its unit: Bohrung: bore (mm)\n"
    if path.exists():
        try:
            text, _ = text_file.read(path)
            there = {squash(heading) for heading, _, _ in front_matter.read(text)}
        except (text_file.UnreadableError, front_matter.FrontMatterError) as fault:
            msg = f"{path}: {fault}"
            raise HeadingsError(msg) from fault
    new = [heading for heading in headings if squash(heading) not in there]
    lines = [f"{_quoted(heading)}: ''{_hint(heading)}" for heading in new]
    path.write_text("\n".join([text.rstrip("\n"), *lines, ""]), encoding="utf-8")
    return len(new)


def _quoted(heading: str) -> str:
    return "'" + heading.replace("'", "''") + "'"


def _hint(heading: str) -> str:
    close = get_close_matches(squash(heading), [squash(n) for n in (*FIELDS, *PULL_FIELDS)], 1, 0.7)
    meant = next((n for n in (*FIELDS, *PULL_FIELDS) if close and squash(n) == close[0]), None)
    return f"  # perhaps {meant}" if meant else ""
