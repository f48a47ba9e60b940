"""Runs of one table that are of different builds: told by columns of the build, or by a remark."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from pullbook.pipeline.layout import heading_rows, titles
from pullbook.pipeline.layout.raw_fields import add_field
from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.words import is_missing
from pullbook.schemas.field import Role
from pullbook.schemas.fields import FIELDS, WEATHER
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.layout.heading_rows import HeadingRow
    from pullbook.pipeline.values.sheet import RawSheet
    from pullbook.pipeline.vocabulary.headings import Headings

    Row = tuple[int, list[str]]

_WHICH = ("sheet_id", "engine", "family")
_MOST_COLUMNS = 64


def part_runs(sheet: RawSheet) -> list[RawSheet]:
    """Return a sheet, or a sheet for each build that the columns of its table tell apart.

    A column of a field of the build that holds one value for each run makes each value a sheet of
    its own. A remark that differs between runs may mean another build: the shop must say.
    """
    rows = sheet.table or []
    head, at = next(
        ((found, at) for at in range(min(len(rows), _MOST_COLUMNS))
         if (found := heading_rows.at(rows, at, sheet.headings)) is not None),
        (None, 0),
    )  # fmt: skip
    if head is None:
        return [sheet]
    extra = _extra(head, sheet.headings)
    run = next((p for p, name in enumerate(head.named) if name.field == "pull"), None)
    body = rows[at + head.rows :]
    _take_weather(sheet, head, body)
    fields = {n: p for n, p in extra.items() if n != "notes" and _by_run(body, p, run)}
    builds = _groups(body, list(fields.values()))
    if run is not None and len(builds) < 2:
        others = [place for place in range(len(head.cells)) if place not in fields.values()
                  and head.named[place].field is None]  # fmt: skip
        _ask_about_runs(sheet, body, others, run)
    if not fields:
        return [sheet]
    above = [(row, _without(cells, set(fields.values()))) for row, cells in rows[: at + head.rows]]
    return _sheets(sheet, head, fields, above, builds)


def _take_weather(sheet: RawSheet, head: HeadingRow, body: list[Row]) -> None:
    """Give a sheet without weather what was logged beside its pull: the middle row's.

    It hardly changes during a pull.
    """
    for place, heading in enumerate(head.cells):
        name = sheet.headings.sheet(heading).field if not head.named[place].field else None
        if name not in WEATHER or name in sheet.fields:
            continue
        logged = [text for _, cells in body if (text := _cell(cells, place))]
        known = [number for text in logged if (number := numerals.plain(text)) is not None]
        if len(known) > len(body) / 2 and max(known) - min(known) <= _STEADY * abs(max(known)):
            add_field(sheet, heading, logged[len(logged) // 2], body[len(body) // 2][0])


#: Weather that varies by more than this share during a pull is something else.
_STEADY = 0.1


def _extra(head: HeadingRow, headings: Headings) -> dict[str, int]:
    """Return the columns of a table that are fields of a sheet, by name."""
    found: dict[str, int] = {}
    for place, (heading, name) in enumerate(zip(head.cells, head.named, strict=True)):
        if name.field is None and heading and place <= _MOST_COLUMNS:
            field = headings.sheet(heading).field
            if field is not None:
                found.setdefault(field, place)
    if "sheet_id" in found or "cylinders" in found:  # builds and pulls in one table
        return found
    return {
        name: place
        for name, place in found.items()
        if name in (*_WHICH, "notes") or FIELDS[name].role is Role.BUILD
    }


def _cell(cells: list[str], place: int) -> str:
    text = cells[place].strip() if place < len(cells) else ""
    return "" if is_missing(text) else text


def _filled(body: list[Row], place: int) -> list[str]:
    """Return a column with blank cells taking what stands above them."""
    texts, above = [], ""
    for _, cells in body:
        above = _cell(cells, place) or above
        texts.append(above)
    return texts


def _by_run(body: list[Row], place: int, run: int | None) -> bool:
    """Return whether a column holds one value for each run: not something logged row by row."""
    texts = _filled(body, place)
    if not any(texts):
        return False
    runs = [""] * len(body) if run is None else _filled(body, run)
    changes = sum(a != b for a, b in pairwise(texts))
    if run is None:
        return changes < max(1, len(body) // 5)
    return all(len({t for t, r in zip(texts, runs, strict=True) if r == one}) <= 1 for one in runs)


def _groups(body: list[Row], places: list[int]) -> dict[tuple[str, ...], list[Row]]:
    """Return the rows of each build, by the texts of its columns.

    A row that agrees with the build above it, as far as it says anything, is of that build; another
    begins a build of its own, whose blank cells are not known.
    """
    groups: dict[tuple[str, ...], list[Row]] = {}
    above = ("",) * len(places)
    for row in body if places else ():
        here = tuple(_cell(row[1], place) for place in places)
        if any(text and text != over for text, over in zip(here, above, strict=True)):
            added = not any(over and text and text != over
                            for text, over in zip(here, above, strict=True))  # fmt: skip
            above = tuple(map(lambda t, o: t or o, here, above)) if added and not groups else here
        groups.setdefault(above, []).append(row)
    return groups


def _sheets(
    sheet: RawSheet,
    head: HeadingRow,
    fields: dict[str, int],
    above: list[Row],
    builds: dict[tuple[str, ...], list[Row]],
) -> list[RawSheet]:
    made = []
    for key, rows in builds.items():
        own = replace(
            sheet, fields=dict(sheet.fields), table=[*above, *rows], findings=list(sheet.findings)
        )
        for (name, place), text in zip(fields.items(), key, strict=True):
            if text:
                if len(builds) > 1:
                    own.fields.pop(name, None)
                add_field(own, head.cells[place], text, rows[0][0])
        if "sheet_id" in own.fields:
            own.sheet_id = own.fields["sheet_id"].text.strip()
        made.append(own)
    names = [own.sheet_id for own in made if "sheet_id" in own.fields]
    for own in made:
        if "sheet_id" in fields and names.count(own.sheet_id) > 1:
            message = (
                f"The rows of sheet {own.sheet_id!r} are of {names.count(own.sheet_id)} different"
                " builds. Give each its own sheet ID."
            )
            own.findings.append(Finding("repeated-field", message, "sheet_id", _first_row(own)))
    return made


def _first_row(sheet: RawSheet) -> int | None:
    """Return the first row of a sheet's table."""
    return sheet.table[0][0] if sheet.table else None


def _without(cells: list[str], places: set[int]) -> list[str]:
    """Return headings without those of columns that were read as fields of the sheet."""
    return ["" if place in places else cell for place, cell in enumerate(cells)]


def _ask_about_runs(sheet: RawSheet, body: list[Row], places: list[int], run: int) -> None:
    """Refuse runs that a column tells apart, until the shop says what they are.

    A column that is logged, with another number in each row, tells no runs apart.
    """
    numbers = _filled(body, run)
    runs = list(dict.fromkeys(number for number in numbers if number))
    if len(runs) < 2:
        return
    for place in places:
        texts = [_cell(cells, place) for _, cells in body]
        if len(set(texts)) > len(runs) + _STRAY:
            continue
        said = [_said_of_run([t for t, n in zip(texts, numbers, strict=True) if n == one])
                for one in runs]  # fmt: skip
        if len(set(said)) > 1:
            sheet.findings.append(titles.ask(list(filter(None, said)), body[0][0], sheet.sheet_id))
            return


#: A column that tells runs apart may hold so many other texts besides: a slip, a remark.
_STRAY = 2


def _said_of_run(texts: list[str]) -> str:
    """Return what a column says of a run: on its first row, or on most of its rows."""
    common = max(set(texts), key=texts.count)
    return texts[0] or (common if texts.count(common) > len(texts) / 2 else "")
