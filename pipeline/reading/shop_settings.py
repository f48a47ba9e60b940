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

from pullbook.pipeline.reading import front_matter, settings_schema, text_file
from pullbook.pipeline.values.cells import CellError, is_missing, parse
from pullbook.pipeline.values.headings import PLAIN, Headings, squash
from pullbook.pipeline.values.sheet import Cell
from pullbook.schemas.errors import InputError, did_you_mean, must_exist
from pullbook.schemas.fields import FIELDS, PULL_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from pullbook.pipeline.values.sheet import RawSheet

#: The file's name in a folder of sheets.
FILE = "pullbook.yaml"
#: A bore or stroke this much off its family's is said; an engine bored a size over is not.
_OFF = 0.025
_UNKNOWN = ("unknown-field", "unknown-column")


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

    def apply(self, raw: RawSheet) -> None:
        """Let a sheet that was read follow the settings, in place."""
        raw.units, raw.private_words = self.units, self.private_words
        raw.ignored = self.ignored_columns
        if self.ignored_rows and raw.table:
            raw.table = [row for row in raw.table if _first(row[1]) not in self.ignored_rows]
        if self.ignored_columns:
            raw.findings = [f for f in raw.findings if not self._is_ignored(f)]
        for name, meanings in self.words.items():
            cell = raw.fields.get(name)
            if cell is not None and (word := meanings.get(squash(cell.text))) is not None:
                _say(raw, name, f"{cell.text.strip()!r} means {word!r} in your settings", word)
                raw.fields[name] = Cell(word, cell.row)
        self._name(raw, "family", self.families)
        self._name(raw, "engine", self.engines)
        family = raw.fields.get("family")
        own = self.family_values.get(family.text.strip(), {}) if family is not None else {}
        for name, text in {**self.values, **own}.items():
            if name != "correction" or raw.table is not None:  # a build was not tested
                _fill(raw, name, text)

    def _is_ignored(self, finding: Finding) -> bool:
        return finding.code in _UNKNOWN and squash(finding.field or "") in self.ignored_columns

    @staticmethod
    def _name(raw: RawSheet, name: str, known: Mapping[str, str]) -> None:
        cell = raw.fields.get(name)
        if cell is None:
            return
        here = known.get(squash(cell.text))
        if here is not None and here != cell.text.strip():
            _say(raw, name, f"{cell.text.strip()!r} is {here!r} in your settings", here)
            raw.fields[name] = Cell(here, cell.row)


NO_SETTINGS = Settings()


def _first(cells: list[str]) -> str:
    return next((squash(cell) for cell in cells if cell.strip()), "")


def _say(raw: RawSheet, name: str, message: str, value: str) -> None:
    row = raw.fields[name].row if name in raw.fields else None
    title = FIELDS[name].title
    raw.findings.append(Finding("from-settings", f"{title}: {message}.", name, row, value))


def _fill(raw: RawSheet, name: str, text: str) -> None:
    """Give a sheet a field that it lacks, or say that it says otherwise."""
    cell = raw.fields.get(name)
    if cell is None or is_missing(cell.text):
        raw.fields[name] = Cell(text, 0)
        _say(raw, name, f"{text} is taken from your settings; the sheet gives none", text)
    elif not _agree(name, cell, text):
        message = (
            f"{FIELDS[name].title} is {cell.text.strip()!r} here and {text!r} in your settings. The"
            " sheet counts; correct the one that is wrong."
        )
        raw.findings.append(Finding("not-as-in-settings", message, name, cell.row, cell.text))


def _agree(name: str, cell: Cell, text: str) -> bool:
    found = FIELDS[name]
    try:
        here, _ = parse(cell.text, found, cell.unit, cell.row, None)
        there, _ = parse(text, found, None, 0, None)
    except CellError:
        return True  # said elsewhere
    if isinstance(here, float) and isinstance(there, float):
        return abs(here / there - 1) <= _OFF if there else here == there
    if isinstance(here, str) and isinstance(there, str):
        return squash(here) == squash(there)
    return here == there


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
    )


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
    folder = source.resolve() if source.is_dir() else source.resolve().parent
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
        if finding.code in _UNKNOWN and finding.field:
            unknown_headings.setdefault(squash(finding.field), finding.field)
    return list(unknown_headings.values())
