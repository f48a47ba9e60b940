"""The JSON Schema of a shop's settings file, for the reader and for editors."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.schemas.errors import did_you_mean
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
NAME = "urn:pullbook:settings"
#: What runs with different remarks may be.
ONE_BUILD = "of one build"
#: Fields that all engines of a family may share.
FAMILY_FIELDS = ("cylinders", "arrangement", "bore", "stroke", "rod_length", "valves_per_cylinder")
_TEXT: Schema = {"type": ["string", "null"]}
_TEXTS: Schema = {"type": ["array", "null"], "items": {"type": "string"}}


def _texts_by_name(what: str) -> Schema:
    return {"type": ["object", "null"], "description": what, "additionalProperties": _TEXT}


def schema() -> Schema:
    """Return the schema as plain data; every value is a text, as on a sheet."""
    return {
        "$schema": DIALECT,
        "$id": NAME,
        "title": "Settings for a folder of dyno sheets",
        "type": "object",
        "additionalProperties": False,
        "properties": {
            "shop": {**_TEXT, "description": "Your shop's name; shared only as a code."},
            "correction": {
                **_TEXT,
                "description": f"What your numbers are in: {FIELDS['correction'].allowed}.",
            },
            "units": {
                **_texts_by_name("Unit of a torque or power column that names none."),
                "propertyNames": {"enum": ["torque", "power"]},
            },
            "headings": _texts_by_name(
                "What your own headings mean: Bohrung: bore (mm). A blank leaves one unknown."
            ),
            "words": {
                "type": ["object", "null"],
                "description": "What your own words mean, by field: intake_type: {2-plane: dual"
                " plane}.",
                "additionalProperties": _texts_by_name("Your word: ours."),
            },
            "ignore": {
                "type": ["object", "null"],
                "description": "Columns to leave out, by heading, and rows, by their first cell.",
                "additionalProperties": False,
                "properties": {"columns": _TEXTS, "rows": _TEXTS},
            },
            "families": {
                "type": ["object", "null"],
                "description": "Engine families: other spellings, and what all their engines"
                " share.",
                "additionalProperties": {
                    "type": ["object", "null"],
                    "additionalProperties": False,
                    "properties": {"also": _TEXTS, **dict.fromkeys(FAMILY_FIELDS, _TEXT)},
                },
            },
            "engines": {
                "type": ["object", "null"],
                "description": "Engines and their other spellings.",
                "additionalProperties": _TEXTS,
            },
            "runs": {
                **_TEXT,
                "enum": [ONE_BUILD, None],
                "description": "What runs with different remarks on one sheet are.",
            },
            "sheets": {
                "type": ["object", "null"],
                "description": "What single sheets lack or have wrong, by sheet ID:"
                " tern-0417: {octane: 93}.",
                "additionalProperties": _texts_by_name("Fields of the sheet."),
            },
            "never_share": {
                **_TEXTS,
                "description": "Words that must not be shared, such as a customer's name: a sheet"
                " ID or family with one becomes a code.",
            },
        },
    }


def is_list_of_headings(given: Mapping[str, Any]) -> bool:
    """Return whether a file is an older one: a plain list of headings and what they mean."""
    known = schema()["properties"]
    plain = all(value is None or isinstance(value, str) for value in given.values())
    return plain and not any(name in known for name in given)


def fault(given: Mapping[str, Any]) -> str | None:
    """Return what is wrong with settings, in one sentence; ``None`` if nothing is."""
    import jsonschema  # noqa: PLC0415 - slow to import, and only where there are settings

    known = schema()["properties"]
    for name in given:
        if name not in known:
            near = did_you_mean(str(name), known)
            return f"{name!r} is no setting.{near} Settings are {', '.join(known)}"
    checker = jsonschema.Draft202012Validator(schema())
    found = next(iter(sorted(checker.iter_errors(given), key=lambda error: list(error.path))), None)
    if found is None:
        return None
    place = ": ".join(str(part) for part in found.path)
    return f"{place}: {found.message}"
