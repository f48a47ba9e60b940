"""What a shop says once about its sheets: one file of settings in the folder of sheets.

The file is YAML: what the shop is called and what its numbers are in, what its headings and words
mean, what to ignore, how it names engines and families. It fills nothing silently: what a sheet
takes from it is a note, and a sheet that says otherwise counts as it stands, with a warning. An
older file of headings, a plain list of ``heading: meaning``, is read as the settings ``headings``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.files import front_matter, text_file
from pullbook.pipeline.settings import settings_schema
from pullbook.pipeline.settings.settings_schema import ONE_BUILD
from pullbook.pipeline.vocabulary.headings import PLAIN, Headings, squash
from pullbook.schemas.errors import InputError, did_you_mean, must_exist
from pullbook.schemas.fields import FIELDS, PULL_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path


#: The file's name in a folder of sheets.
FILE = "pullbook.yaml"
UNKNOWN = ("unknown-field", "unknown-column")
#: What the settings say of runs with different remarks.
RUNS = "runs"


class SettingsError(InputError):
    """A settings file that cannot be read; the message says where and why."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What a shop says about its sheets.

    Attributes
    ----------
    headings
        The headings that are understood, the shop's own among them.
    meanings
        What each of the shop's own headings means.
    values
        Fields that all its sheets share, by name: shop and correction.
    units
        Unit of a column of torque or power that names none, by column.
    words
        What its words mean, by field and squashed word.
    ignored_columns, ignored_rows
        Squashed headings of columns, and squashed first cells of rows, to leave out.
    families, engines
        The name of each family and engine by its squashed spellings.
    family_values
        Fields that all engines of a family share, by its name.
    private_words
        Words that are never shared, such as a customer's name.
    one_build
        Whether runs with different remarks on one sheet are runs of one build.
    sheets
        What single sheets lack or have wrong: fields by sheet ID.
    """

    headings: Headings = PLAIN
    meanings: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    ignored_columns: frozenset[str] = frozenset()
    ignored_rows: frozenset[str] = frozenset()
    families: Mapping[str, str] = field(default_factory=dict)
    engines: Mapping[str, str] = field(default_factory=dict)
    family_values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    private_words: tuple[str, ...] = ()
    one_build: bool = False
    sheets: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


#: The settings of who has none.
NO_SETTINGS = Settings()


def load(path: Path) -> Settings:
    """Return the settings in a file, or those of an older file of headings.

    Raises
    ------
    SettingsError
        The file cannot be read, or says something that is no setting; the message names the line.

    """
    must_exist(path)
    try:
        text, _ = text_file.read(path)
        given = front_matter.nested(text)
    except (text_file.UnreadableError, front_matter.FrontMatterError) as error:
        raise SettingsError(str(error), file=path) from error
    if settings_schema.is_list_of_headings(given):
        given = {"headings": given}
    if (fault := settings_schema.fault(given)) is not None:
        raise SettingsError(fault, file=path)
    return _settings(given, path)


def _settings(given: Mapping[str, Any], path: Path) -> Settings:
    ignore = given.get("ignore") or {}
    columns = frozenset(map(squash, ignore.get("columns") or ()))
    meanings = {h: m for h, m in (given.get("headings") or {}).items() if m and m.strip()}
    for heading, meaning in meanings.items():
        if not (PLAIN.sheet(meaning).field or PLAIN.pull(meaning).field):
            near = did_you_mean(meaning, [*FIELDS, *PULL_FIELDS])
            msg = f"headings: {heading!r} means {meaning!r}, which is no field of a sheet.{near}"
            raise SettingsError(msg, file=path)
    words = {}
    for name, own in (given.get("words") or {}).items():
        if name not in FIELDS:
            msg = f"words: {name!r} is no field of a sheet.{did_you_mean(name, FIELDS)}"
            raise SettingsError(msg, file=path)
        words[name] = {squash(word): str(meaning) for word, meaning in own.items()}
    families = {name: one or {} for name, one in (given.get("families") or {}).items()}
    engines = {name: also or [] for name, also in (given.get("engines") or {}).items()}
    return Settings(
        headings=Headings(meanings, columns),
        meanings=meanings,
        values={n: str(given[n]) for n in ("shop", "correction") if given.get(n)},
        units={n: str(unit) for n, unit in (given.get("units") or {}).items()},
        words=words,
        ignored_columns=columns,
        ignored_rows=frozenset(map(squash, ignore.get("rows") or ())),
        families=_spellings({name: one.get("also") or [] for name, one in families.items()}),
        engines=_spellings(engines),
        family_values={
            name: {key: str(value) for key, value in one.items() if key != "also" and value}
            for name, one in families.items()
        },
        private_words=tuple(map(str, given.get("never_share") or ())),
        one_build=given.get(RUNS) == ONE_BUILD,
        sheets=_amendments(given, path),
    )


def _amendments(given: Mapping[str, Any], path: Path) -> dict[str, dict[str, str]]:
    """Return what single sheets lack, under the names of fields."""
    found: dict[str, dict[str, str]] = {}
    for sheet, fields in (given.get("sheets") or {}).items():
        own = found.setdefault(str(sheet), {})
        for name, text in (fields or {}).items():
            field_name = RUNS if name == RUNS else PLAIN.sheet(name).field
            if field_name is None:
                near = did_you_mean(name, FIELDS)
                msg = f"sheets: {sheet!r}: {name!r} is no field of a sheet.{near}"
                raise SettingsError(msg, file=path)
            if text:
                own[field_name] = str(text)
    return found


def _spellings(names: Mapping[str, Iterable[str]]) -> dict[str, str]:
    return {squash(str(word)): name for name, also in names.items() for word in (name, *also)}


def beside(source: Path, roots: Iterable[Path]) -> Settings:
    """Return the settings for a source: those of its folder, or of one above it below a root.

    Raises
    ------
    SettingsError
        The file cannot be read.

    """
    tops = {root.resolve() for root in roots}
    folder = source.resolve() if source.is_dir() else source.parent.resolve()
    for place in (folder, *folder.parents):
        if not any(place == top or top in place.parents for top in tops):
            break
        if (place / FILE).is_file():
            return _kept(place / FILE, (place / FILE).stat().st_mtime_ns)
    return NO_SETTINGS


@cache
def _kept(path: Path, _modified: int) -> Settings:
    return load(path)


def unknown(findings: Iterable[Finding]) -> list[str]:
    """Return the unknown headings that are reported in findings, each once, in order."""
    unknown_headings: dict[str, str] = {}
    for finding in findings:
        if finding.code in UNKNOWN and finding.field:
            unknown_headings.setdefault(squash(finding.field), finding.field)
    return list(unknown_headings.values())
