"""The fields of a build as a form has them: read into a build, and written as a build file."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pullbook.pipeline.builds import build_files, build_template
from pullbook.pipeline.privacy.contributed_sheet import yaml_scalar
from pullbook.schemas import field_words
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.pipeline.values.sheet import Build
    from pullbook.words.units import Units

#: Fields of a form by group, in the order an engine is built.
GROUPS: Mapping[str, tuple[str, ...]] = {
    title: tuple(name for name in names if name not in {"measured", "engine"})
    for title, names in build_template.GROUPS.items()
}
#: The name of a build that has none.
UNNAMED = "my build"
_BARE = re.compile(r"\s*[+-]?\d[\d.,]*(?:\s+\d+/\d+)?\s*")


def with_units(given: Mapping[str, str], units: Units) -> dict[str, str]:
    """Return the fields that are filled in, bare numbers with the unit that the form shows.

    >>> from pullbook.words.units import Units
    >>> with_units({"bore": "99", "stroke": "3.5 in", "octane": " ", "x": "1"}, Units.METRIC)
    {'bore': '99 mm', 'stroke': '3.5 in'}
    """
    found = {}
    for name, text in given.items():
        field = FIELDS.get(name)
        if field is None or not text.strip():
            continue
        unit = field_words.METRIC.get(field.unit)
        bare = field.kind is Kind.NUMBER and _BARE.fullmatch(text) is not None
        found[name] = (
            f"{text.strip()} {unit[0]}" if units.metric and unit and bare else text.strip()
        )
    return found


def converted(given: Mapping[str, str], were: Units, units: Units) -> dict[str, str]:
    """Return fields typed under other units as they stand under these; what has a unit stays.

    >>> from pullbook.words.units import Units
    >>> converted({"bore": "4", "stroke": "3.5 in"}, Units.INCH, Units.METRIC)
    {'bore': '101.6', 'stroke': '3.5 in'}
    """
    if were is units:
        return dict(given)
    read = texts_of(build_of(given, were), units)
    return {
        name: read.get(name, text) if _BARE.fullmatch(text) else text
        for name, text in given.items()
    }


def typed(name: str) -> bool:
    """Return whether a form gives a field.

    What a build starts from is no field of a form: it would name any file. See `measured_on`.
    """
    return name in FIELDS and name != "measured"


def build_of(given: Mapping[str, str], units: Units) -> Build:
    """Return the build that a form describes, typed and checked; it has a name in any case."""
    fields = with_units({name: text for name, text in given.items() if typed(name)}, units)
    return build_files.of_fields({"sheet_id": UNNAMED, **fields})


def texts_of(build: Build, units: Units) -> dict[str, str]:
    """Return the fields of a build as a form shows them, numbers without the unit beside them."""
    return {
        name: shown(name, value, units)
        for name, value in build.given.items()
        if value is not None and name in FIELDS
    }


def of_form(build: Build, units: Units) -> dict[str, str]:
    """Return those fields of a build that a form has, as it shows them."""
    names = {name for group in GROUPS.values() for name in group}
    return {name: text for name, text in texts_of(build, units).items() if name in names}


def shown(name: str, value: object, units: Units) -> str:
    """Return a value as it stands in a form.

    >>> from pullbook.words.units import Units
    >>> shown("bore", 4.03, Units.METRIC), shown("muffled", True, Units.INCH)
    ('102.4', 'yes')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, int | float):
        return str(value)
    here = field_words.in_units(name, value, metric=units.metric)
    digits = field_words.digits_of(name, value, metric=units.metric) if units.metric else 6
    return f"{float(f'{here:.{digits}g}'):.15g}"


def as_file(given: Mapping[str, str], units: Units) -> str:
    """Return a build file with the fields of a form, as the command line reads it."""
    lines = ["# A build, saved by the page."]
    for name, text in with_units(given, units).items():
        field = FIELDS[name]
        plain = field.kind in {Kind.NUMBER, Kind.WHOLE, Kind.CHOICE, Kind.FLAG}
        safe = plain and re.fullmatch(r"[\w .:/-]*\w", text) is not None
        lines.append(f"{name}: {text if safe and ': ' not in text else yaml_scalar(text)}")
    return "\n".join(lines) + "\n"
