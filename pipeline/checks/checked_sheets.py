"""From paths to checked sheets: found, read, typed and checked in one way for every caller."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import check_sheet, duplicates, shop_barometers
from pullbook.pipeline.reading import find_sheets, parse_sheet
from pullbook.pipeline.settings import shop_settings
from pullbook.pipeline.settings.shop_settings import NO_SETTINGS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path
    from typing import Any

    from pullbook.pipeline.checks.check_sheet import Rule
    from pullbook.pipeline.settings.shop_settings import Settings
    from pullbook.pipeline.values.sheet import RawSheet, Sheet

    Track = Callable[[Iterable[Any]], Iterable[Any]]


@dataclass(slots=True)
class CheckedSheets:
    """Sheets below some paths, typed and checked.

    Attributes
    ----------
    raws
        The sheets as text, in a stable order.
    sheets
        The same, typed and checked.
    passed_over
        Files that carry no sheets by their name, and links to folders.
    """

    raws: list[RawSheet]
    sheets: list[Sheet]
    passed_over: list[Path]


def check(raw: RawSheet, rules: tuple[Rule, ...]) -> Sheet:
    """Return the typed sheet of a sheet as text, with what the rules find."""
    return check_sheet.judge(parse_sheet.typed(raw), rules)


def of_source(
    source: Path, rules: tuple[Rule, ...], settings: Settings = NO_SETTINGS
) -> Iterator[tuple[RawSheet, Sheet]]:
    """Read and check the sheets of one source, as `find_sheets.find` lists them."""
    for raw in find_sheets.source(source, settings):
        yield raw, check(raw, rules)


def roots_of(paths: Iterable[Path]) -> list[Path]:
    """Return the folders above which no settings are looked for."""
    return [path if path.is_dir() else path.parent for path in paths]


def read(
    paths: Iterable[Path],
    rules: tuple[Rule, ...],
    settings: Settings | None = None,
    without: Path | None = None,
    track: Track = iter,
) -> CheckedSheets:
    """Read and check every sheet below some paths, each by itself and beside the others.

    Parameters
    ----------
    paths, without
        As for `find_sheets.find`.
    rules
        Which rules each sheet is checked by; see `check_sheet`.
    settings
        The shop's settings; ``None`` takes those that lie in the folder of each sheet, or above it
        below a path that is given.
    track
        Wraps the loop over sources to show progress.

    Raises
    ------
    NothingToReadError
        A path does not exist, or holds no sheets.
    SettingsError
        A settings file cannot be read.

    """
    paths = list(paths)
    found = find_sheets.find(paths, without)
    roots = roots_of(paths)
    pairs = [
        pair
        for source in track(found.sources)
        for pair in of_source(source, rules, settings or shop_settings.beside(source, roots))
    ]
    sheets = beside_one_another(pairs, rules)
    return CheckedSheets([raw for raw, _ in pairs], sheets, found.passed_over)


def beside_one_another(
    pairs: Iterable[tuple[RawSheet, Sheet]], rules: tuple[Rule, ...]
) -> list[Sheet]:
    """Return checked sheets with what they tell of one another; what is given stays as it is."""
    pairs = list(pairs)
    said = [shop_barometers.said_by(sheet) if sheet.accepted else None for _, sheet in pairs]
    shops = [str(sheet.values.get("shop") or "").casefold() for _, sheet in pairs]
    usual = shop_barometers.usual(
        (shop, pressure) for shop, pressure in zip(shops, said, strict=True) if pressure is not None
    )
    sheets = [
        check(replace(raw, usual_barometer=usual[shop]), rules)
        if shop in usual and _is_unsettled(sheet)
        else replace(sheet, findings=[*sheet.findings])
        for (raw, sheet), shop in zip(pairs, shops, strict=True)
    ]
    duplicates.judge(sheets)
    return sheets


def _is_unsettled(sheet: Sheet) -> bool:
    return any(shop_barometers.is_unsettled(found.code, found.field) for found in sheet.findings)
