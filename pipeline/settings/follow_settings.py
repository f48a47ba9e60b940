"""Let sheets follow the shop's settings: nothing is filled in silently.

What a sheet takes from the settings is a note, and a sheet that says otherwise counts as it stands,
with a warning.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.settings.settings_schema import ONE_BUILD
from pullbook.pipeline.settings.shop_settings import RUNS, UNKNOWN
from pullbook.pipeline.values.cells import CellError, parse
from pullbook.pipeline.values.sheet import Cell
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.pipeline.vocabulary.part_cells import oversize
from pullbook.pipeline.vocabulary.words import is_missing
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.pipeline.settings.shop_settings import Settings
    from pullbook.pipeline.values.sheet import RawSheet

#: A bore or stroke this much off its family's is said; an engine bored a size over is not.
_OFF = 0.025


def follow(settings: Settings, raw: RawSheet) -> None:
    """Let a sheet that was read follow the settings, in place."""
    raw.units, raw.private_words = settings.units, settings.private_words
    raw.ignored = settings.ignored_columns
    if settings.ignored_rows and raw.table:
        raw.table = [row for row in raw.table if _first(row[1]) not in settings.ignored_rows]
    if settings.ignored_columns:
        raw.findings = [f for f in raw.findings if not _is_ignored(settings, f)]
    amended = settings.sheets.get(raw.sheet_id, {})
    if settings.one_build or amended.get(RUNS) == ONE_BUILD:
        raw.one_build = True
        raw.findings = [f for f in raw.findings if f.code != "other-builds"]
    for name, text in amended.items():
        if name != RUNS:
            _amend(raw, name, text)
    for name, meanings in settings.words.items():
        cell = raw.fields.get(name)
        if cell is not None and (word := meanings.get(squash(cell.text))) is not None:
            _say(raw, name, f"{cell.text.strip()!r} means {word!r} in your settings", word)
            raw.fields[name] = Cell(word, cell.row)
    _name(raw, "family", settings.families)
    _name(raw, "engine", settings.engines)
    family = raw.fields.get("family")
    own = settings.family_values.get(family.text.strip(), {}) if family is not None else {}
    for name, text in {**settings.values, **own}.items():
        tested = name != "correction" or raw.table is not None  # a build was not
        if tested and not (name == "bore" and _bore_over(raw, text)):
            _fill(raw, name, text)


def _is_ignored(settings: Settings, finding: Finding) -> bool:
    return finding.code in UNKNOWN and squash(finding.field or "") in settings.ignored_columns


def _name(raw: RawSheet, name: str, known: Mapping[str, str]) -> None:
    cell = raw.fields.get(name)
    if cell is None:
        return
    here = known.get(squash(cell.text))
    if here is not None and here != cell.text.strip():
        _say(raw, name, f"{cell.text.strip()!r} is {here!r} in your settings", here)
        raw.fields[name] = Cell(here, cell.row)


def _first(cells: list[str]) -> str:
    return next((squash(cell) for cell in cells if cell.strip()), "")


def _say(raw: RawSheet, name: str, message: str, value: str) -> None:
    row = raw.fields[name].row if name in raw.fields else None
    title = FIELDS[name].title
    raw.findings.append(Finding("from-settings", f"{title}: {message}.", name, row, value))


def _amend(raw: RawSheet, name: str, text: str) -> None:
    """Give one sheet what it lacks or has wrong; the file itself stays as it is."""
    cell = raw.fields.get(name)
    if cell is None or is_missing(cell.text):
        message = f"{text} is taken from your settings for this sheet"
    elif cell.text.strip() == text:
        return
    else:
        message = f"{cell.text.strip()!r} on the sheet counts as {text!r}, as your settings say"
    raw.findings = [f for f in raw.findings if f.field != name]
    _say(raw, name, message, text)
    raw.fields[name] = Cell(text, 0 if cell is None else cell.row, from_settings=True)


def _bore_over(raw: RawSheet, family: str) -> bool:
    """Add an oversize on the sheet, such as .030 over, to the family's bore."""
    cell = raw.fields.get("bore")
    over = None if cell is None else oversize(cell.text)
    if cell is None or over is None:
        return False
    base = parse(family, FIELDS["bore"]).value
    if not isinstance(base, int | float):
        return False
    text = f"{base + over:.4f} in"
    _say(raw, "bore", f"{cell.text.strip()!r} on the family's {family} is {text}", text)
    raw.fields["bore"] = Cell(text, cell.row, from_settings=True)
    return True


def _fill(raw: RawSheet, name: str, text: str) -> None:
    """Give a sheet a field that it lacks, or say that it says otherwise."""
    cell = raw.fields.get(name)
    if cell is None or is_missing(cell.text):
        raw.fields[name] = Cell(text, 0, from_settings=True)
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
        here = parse(cell.text, found, cell.unit, cell.row, None).value
        there = parse(text, found, None, 0, None).value
    except CellError:
        return True  # said elsewhere
    if isinstance(here, float) and isinstance(there, float):
        return abs(here / there - 1) <= _OFF if there else here == there
    if isinstance(here, str) and isinstance(there, str):
        return squash(here) == squash(there)
    return here == there
