"""The JSON Schema of a YAML build, for editors that check a file while it is typed.

It is made from the field dictionary and accepts what the reader accepts for a field under its own
name: a number or a text with a unit, a choice in any case and with any separator, a customary word,
a blank. Whether a unit fits its field and parts fit each other is left to the reader.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.pipeline.builds import build_template, extended_build
from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT, SIZE_FIELDS
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.pipeline.vocabulary.words import CUSTOMARY, FLAGS, MISSING
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pullbook.schemas.field import Field

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
#: A name, not an address: nothing is fetched.
NAME = "urn:pullbook:build"

_JOINT = r"[\s_-]*"
_NUMERAL = r"[+-]?[.,]?\d[\d.,'\u2019\u00a0\u202f\u2009 -]*(?:/\d+)?(?:[eE][+-]?\d+)?"
_UNIT = r"[A-Za-z%\":/(\u00b0\u00ba\u2103\u2109][^\n]*"
#: Characters with a meaning in patterns.
_SYNTAX = frozenset(r"^$\.*+?()[]{}|/")
_DATE = r"^\s*\d{4}(?:-\d{2}-\d{2}(?:[T ]\d{1,2}:\d{2}[\d:.+Z-]*)?)?\s*$"
_BOOSTED = ("supercharged", "turbocharged")
_NOT_KNOWN = {"$ref": "#/$defs/not-known"}


def schema() -> Schema:
    """Return the schema as plain data."""
    return {
        "$schema": DIALECT,
        "$id": NAME,
        "title": "Build for pullbook",
        "description": "One engine combination to predict. Leave out the fields that you do not"
        " know. Field names must be spelled exactly.",
        "type": "object",
        "properties": {
            extended_build.EXTEND: _extend(),
            **{name: _property(field) for name, field in FIELDS.items()},
        },
        "additionalProperties": {
            "description": "Unknown field: it is reported and left out.",
            "type": ["string", "number", "boolean", "null"],
        },
        "if": {"properties": {extended_build.EXTEND: _NOT_KNOWN}},
        "then": {**_boost(), "allOf": [_size()]},
        "$defs": {
            "not-known": {
                "description": "Not known. With extend, this drops the value of the other build.",
                "anyOf": [{"type": "null"}, _text(_words(MISSING))],
            }
        },
    }


def _extend() -> Schema:
    endings = "|".join(_any_case(ending) for ending in extended_build.ENDINGS)
    return {
        "description": "Another build file, with its path from this one. Its fields are taken"
        " over unless they are given here.",
        "anyOf": [_text(rf"^\s*(?![A-Za-z]:)[^\s/\\].*(?:{endings})\s*$"), _NOT_KNOWN],
    }


def _size() -> Schema:
    """Return the rule that a build gives its size, unless it names a sheet that does."""
    either = [
        {"required": list(names), "properties": {name: {"not": _NOT_KNOWN} for name in names}}
        for names in (SIZE_FIELDS[:2], (DISPLACEMENT,))
    ]
    return {
        "if": {"properties": {"measured": _NOT_KNOWN}},
        "then": {"required": list(build_template.REQUIRED), "anyOf": either},
    }


def _boost() -> Schema:
    """Return the rule that a boosted engine must give its boost."""
    boosted = {"properties": {"aspiration": {"enum": list(_BOOSTED)}}, "required": ["aspiration"]}
    return {"if": boosted, "then": {"required": ["boost"]}}


def _property(field: Field) -> Schema:
    found: Schema = {"description": build_template.describe(field.name), "anyOf": _forms(field)}
    if field.name not in build_template.REQUIRED:
        found["anyOf"].append(_NOT_KNOWN)
    if field.name in build_template.EXAMPLES:
        found["examples"] = [build_template.EXAMPLES[field.name]]
    return found


def _forms(field: Field) -> list[Schema]:
    """Return the schemas of the values that a field accepts."""
    match field.kind:
        case Kind.NUMBER:
            return [_within(field, "number"), _text(rf"^\s*{_NUMERAL}\s*(?:{_UNIT})?$")]
        case Kind.WHOLE:
            return [_within(field, "integer"), _text(r"^\s*\+?\d+(?:\.0*)?\s*$")]
        case Kind.CHOICE:
            words = [*map(squash, field.choices), *CUSTOMARY.get(field.name, {})]
            return [{"enum": list(field.choices)}, _text(_words(words, _JOINT))]
        case Kind.FLAG:
            return [{"enum": ["yes", "no", True, False, 1, 0]}, _text(_words(FLAGS))]
        case Kind.DATE:
            return [{"type": "integer", "minimum": 1900, "maximum": 2100}, _text(_DATE)]
        case _:
            return [{"type": ["string", "number", "boolean"]}]


def _within(field: Field, kind: str) -> Schema:
    return {"type": kind, "minimum": field.low, "maximum": field.high}


def _text(pattern: str) -> Schema:
    return {"type": "string", "pattern": pattern}


def _words(words: Iterable[str], joint: str = "") -> str:
    """Return a pattern that matches any of some words, with ``joint`` between all letters."""
    return rf"^\s*(?:{'|'.join(_any_case(word, joint) for word in sorted(words))})\s*$"


def _any_case(word: str, joint: str = "") -> str:
    r"""Return a pattern that matches a word in any case; JSON Schema patterns have no flags.

    >>> print(_any_case("n.a."))
    [Nn]\.[Aa]\.
    """
    return joint.join(map(_letter, word))


def _letter(letter: str) -> str:
    if letter.isalpha():
        return f"[{letter.upper()}{letter.lower()}]"
    return f"\\{letter}" if letter in _SYNTAX else letter
