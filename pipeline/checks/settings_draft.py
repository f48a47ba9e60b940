"""The first draft of a shop's settings file, from the sheets that are there."""

from __future__ import annotations

import json
from collections import Counter
from typing import TYPE_CHECKING

from pullbook.pipeline.settings import settings_schema, shop_settings
from pullbook.schemas.errors import did_you_mean
from pullbook.schemas.fields import FIELDS, PULL_FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from pullbook.pipeline.values.sheet import RawSheet, Sheet

_HEAD = """\
# What the sheets of this folder have in common. Every command that reads them uses it.
# Lines that start with # are ignored: remove the # in front of a line that fits, and change
# its value. Whatever a sheet takes from here is listed as a note. Where a sheet differs, the
# sheet counts, and you get a warning."""
_MOST = 40
#: A family is drafted with a size that this share of its sheets has.
_COMMON = 0.8


def draft(
    raws: Iterable[RawSheet], sheets: Iterable[Sheet], headings: Mapping[str, str] | None = None
) -> str:
    """Return the text of a settings file.

    Parameters
    ----------
    raws, sheets
        The sheets of a folder, as text and checked.
    headings
        What headings mean already, from an older file of headings.

    """
    raws, sheets = list(raws), list(sheets)
    return "\n".join(_lines(raws, sheets, dict(headings or {}))) + "\n"


def _lines(raws: list[RawSheet], sheets: list[Sheet], headings: dict[str, str]) -> Iterator[str]:
    yield _HEAD
    yield "\n# What is your shop called? It is shared only as a code."
    yield from _shared(raws, "shop", "Tern Quay Marine")
    yield "\n# What are your numbers in, where a sheet does not say? One of:"
    yield f"# {FIELDS['correction'].allowed}"
    yield from _shared(raws, "correction", "SAE J607")
    yield "\n# What are torque and power in, where the column does not say?"
    yield "#units: {torque: N.m, power: kW}"
    yield "\n# What do your own headings mean? Ours with its unit on the right."
    yield from _headings(sheets, headings)
    yield "\n# What do your own words mean, by field?"
    yield "#words:\n#  intake_type: {2-plane: dual plane}"
    yield "\n# Which columns, by heading, and rows, by their first cell, are to be ignored?"
    yield "#ignore: {columns: [Lambda], rows: [AVG, MAX]}"
    yield "\n# How do you write each family (also: other spellings), and what do its engines share?"
    yield from _families(sheets)
    yield "\n# How do you write each engine? Other spellings in brackets."
    yield from _engines(sheets)
    yield "\n# Which words must never be shared, should a sheet ID or a family contain them?"
    yield "#never_share: [Lugworm, Harbour Road]"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _shared(raws: list[RawSheet], name: str, example: str) -> Iterator[str]:
    """Yield the line of a field that sheets share: as it is, if all say the same."""
    found = Counter(raw.fields[name].text.strip() for raw in raws if name in raw.fields)
    if len(found) == 1 and sum(found.values()) == len(raws):
        yield f"{name}: {_quoted(next(iter(found)))}"
        return
    for text, count in found.most_common(3):
        yield f"#{name}: {_quoted(text)}    # on {count} of {len(raws)} sheets"
    if not found:
        yield f"#{name}: {_quoted(example)}"


def _headings(sheets: list[Sheet], known: dict[str, str]) -> Iterator[str]:
    unknown = shop_settings.unknown(f for sheet in sheets for f in sheet.findings)
    unknown = [one for one in unknown if one not in known]
    if not known and not unknown:
        yield '#headings: {"Bohrung": "bore (mm)"}'
        return
    yield "headings:"
    yield from (f"  {_quoted(one)}: {_quoted(meaning)}" for one, meaning in known.items())
    for one in unknown[:_MOST]:
        near = did_you_mean(one, [*FIELDS, *PULL_FIELDS]).strip()
        yield f"  {_quoted(one)}:{f'    # {near}' if near else ''}"


def _counted(sheets: list[Sheet], name: str) -> list[tuple[str, str]]:
    """Return each value of a field, the commonest first, with a remark how common it is."""
    found = Counter(str(s.values[name]) for s in sheets if s.values.get(name))
    return [
        (text, f"    # {count} of {len(sheets)} sheets") for text, count in found.most_common(_MOST)
    ]


def _families(sheets: list[Sheet]) -> Iterator[str]:
    found = _counted(sheets, "family")
    yield "families:" if found else "#families:\n#  petrel-six: {also: [P6], bore: 3.9 in}"
    for family, remark in found:
        yield f"  {_quoted(family)}:{remark}"
        yield "    #also: [other spelling]"
        own = [sheet for sheet in sheets if sheet.values.get("family") == family]
        yield from _sizes(own)


def _sizes(sheets: list[Sheet]) -> Iterator[str]:
    """Yield the fields of a size that most sheets of a family share."""
    for name in settings_schema.FAMILY_FIELDS:
        values = Counter(s.values[name] for s in sheets if s.given.get(name) is not None)
        value, times = next(iter(values.most_common(1)), (None, 0))
        if value is not None and times >= _COMMON * sum(values.values()):
            number = f"{value:.6g} {FIELDS[name].unit}".strip() if isinstance(value, float) else ""
            yield f"    #{name}: {_quoted(number or str(value))}"


def _engines(sheets: list[Sheet]) -> Iterator[str]:
    found = _counted(sheets, "engine")
    yield "engines:" if found else '#engines:\n#  "Lugworm, port": [lugworm p]'
    yield from (f"  {_quoted(engine)}: []{remark}" for engine, remark in found)
