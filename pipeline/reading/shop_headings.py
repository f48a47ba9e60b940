"""A shop's own headings, kept in a file so that the shop explains each one only once.

The file is YAML with one heading per line: the shop's on the left, ours on the right, with the
unit if there is one: ``Bohrung: bore (mm)``.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

from pullbook.pipeline.reading import front_matter, text_file
from pullbook.pipeline.values.headings import PLAIN, Headings, squash
from pullbook.schemas.errors import InputError, must_exist
from pullbook.schemas.fields import FIELDS, PULL_FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from pullbook.schemas.findings import Finding

_UNKNOWN = ("unknown-field", "unknown-column")


class HeadingsError(InputError):
    """A file of headings that cannot be read, or that names an unknown field."""


def load(path: Path) -> Headings:
    """Return all headings with those of a shop's file; those without a meaning stay unknown.

    Raises
    ------
    HeadingsError
        The file cannot be read, or a meaning is not a field of a sheet or a pull.

    """
    return Headings(_read_meanings(path))


def _read_meanings(path: Path) -> dict[str, str]:
    meanings = {}
    must_exist(path)
    try:
        text, _ = text_file.read(path)
        for heading, meaning, row in front_matter.read(text):
            if not meaning.strip():
                continue
            if not (PLAIN.sheet(meaning).field or PLAIN.pull(meaning).field):
                close = get_close_matches(meaning, [*FIELDS, *PULL_FIELDS], 3)
                hint = f"; perhaps {', '.join(close)}" if close else ""
                msg = f"{path}, row {row}: {meaning!r} is not a field of a sheet or a pull{hint}"
                raise HeadingsError(msg)
            meanings[heading] = meaning
    except (text_file.UnreadableError, front_matter.FrontMatterError) as error:
        msg = f"{path}: {error}"
        raise HeadingsError(msg) from error
    return meanings


def unknown(findings: Iterable[Finding]) -> list[str]:
    """Return the unknown headings that are reported in findings, each once, in order."""
    unknown_headings: dict[str, str] = {}
    for finding in findings:
        if finding.code in _UNKNOWN and finding.field:
            unknown_headings.setdefault(squash(finding.field), finding.field)
    return list(unknown_headings.values())


def save(path: Path, headings: list[str]) -> int:
    """Add headings to a shop's file, to be given a meaning there; return how many were new.

    Lines that are in the file already stay as they are.

    Raises
    ------
    HeadingsError
        The file exists and cannot be read.

    """
    present: set[str] = set()
    text = "# Your heading on the left, ours with its unit on the right: Bohrung: bore (mm)\n"
    if path.exists():
        try:
            text, _ = text_file.read(path)
            present = {squash(heading) for heading, _, _ in front_matter.read(text)}
        except (text_file.UnreadableError, front_matter.FrontMatterError) as error:
            msg = f"{path}: {error}"
            raise HeadingsError(msg) from error
    new = [heading for heading in headings if squash(heading) not in present]
    lines = [f"{_quote(heading)}: ''{_suggest(heading)}" for heading in new]
    path.write_text("\n".join([text.rstrip("\n"), *lines, ""]), encoding="utf-8")
    return len(new)


def _quote(heading: str) -> str:
    return "'" + heading.replace("'", "''") + "'"


def _suggest(heading: str) -> str:
    close = get_close_matches(squash(heading), [squash(n) for n in (*FIELDS, *PULL_FIELDS)], 1, 0.7)
    meaning = next((n for n in (*FIELDS, *PULL_FIELDS) if close and squash(n) == close[0]), None)
    return f"  # perhaps {meaning}" if meaning else ""
