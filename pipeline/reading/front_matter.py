"""YAML as people write it on a sheet: plain fields, every value a text.

The loader resolves nothing: `no` stays no, 0417 keeps its nought, 9:30 is no number of seconds,
and no tag makes an object. Only a flat mapping of scalars is a sheet; anything else is a finding.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import yaml

from pullbook.pipeline.values.headings import PLAIN
from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import FIELDS, Kind
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

#: One field a line, as people write it.
_LINE = re.compile(r"^[ \t]*([^\s:#][^:]*?)[ \t]*:[ \t]*(.*?)[ \t]*$")
#: A text with a number in it, which to YAML is a remark: job #12.
_NUMBERED = re.compile(
    r"^(\s*[^\s:#][^:\n]*:[ \t]+)([^\s\"'#|>\[{&*!%@][^\n]*[ \t]#.*)$", re.MULTILINE
)


class _Loader(getattr(yaml, "CBaseLoader", yaml.BaseLoader)):  # type: ignore[misc]  # no stub
    """Takes every scalar as it stands: there is nothing to resolve."""

    def resolve(self, *_: object) -> str:
        return ""

    def descend_resolver(self, *_: object) -> None:
        pass

    def ascend_resolver(self) -> None:
        pass


class FrontMatterError(InputError):
    """The text is not a plain list of fields; carries the finding."""

    def __init__(self, message: str, row: int | None = None) -> None:
        super().__init__(message)
        self.finding = Finding("front-matter-unreadable", message, row=row)


def _as_meant(text: str) -> str:
    """Quote every value that stands on a line with its name; rows stay as they are.

    So a lone - or ?, a colon, an asterisk or a quotation mark in a text are what they seem.
    """
    return "\n".join(map(_line_as_meant, text.split("\n")))


def _line_as_meant(line: str) -> str:
    found = _LINE.match(line)
    if found is None or not found[2] or found[2][0] in "[{#":
        return line
    name, value = found[1], found[2]
    quote = value[0] if value[0] in "\"'" else ""
    if quote and (value.count(quote) == 1 or value.endswith(quote)):
        return line
    return f"{name}: {json.dumps(value)}"


def _with_numbers(text: str) -> str:
    """Quote texts that hold a #; behind a number it opens a remark, as YAML has it."""

    def quoted(found: re.Match[str]) -> str:
        field = PLAIN.sheet(found[1].strip().rstrip(":")).field
        is_text = field is not None and FIELDS[field].kind is Kind.TEXT
        return found[1] + json.dumps(found[2].strip()) if is_text else found[0]

    return _NUMBERED.sub(quoted, text)


def _composed(text: str) -> yaml.Node | None:
    """Return the YAML of a text; where it is no flat list of fields, of the text as it is meant."""
    try:
        node: yaml.Node | None = yaml.compose(text, Loader=_Loader)
    except yaml.YAMLError:
        node = None
    else:
        flat = isinstance(node, yaml.MappingNode) and all(
            isinstance(value, yaml.ScalarNode) for _, value in node.value
        )
        if node is None or flat:
            return node
    return yaml.compose(_as_meant(text), Loader=_Loader)


def read(text: str, first_row: int = 1) -> Iterator[tuple[str, str, int]]:
    """Yield heading, text and row of every field, in the order of the file.

    Parameters
    ----------
    text
        The YAML text.
    first_row
        The row of its first line in the file, from 1.

    Raises
    ------
    FrontMatterError
        The text is not YAML, or not a flat list of fields.

    """
    try:
        node = _composed(_with_numbers(text) if " #" in text or "\t#" in text else text)
    except yaml.YAMLError as fault:
        mark = getattr(fault, "problem_mark", None)
        row = None if mark is None else mark.line + first_row
        problem = getattr(fault, "problem", None) or "it is not YAML"
        msg = f"the fields cannot be read: {problem}; write one 'name: value' a line"
        raise FrontMatterError(msg, row) from fault
    except RecursionError as fault:
        msg = "the fields are nested too deep; write one 'name: value' a line"
        raise FrontMatterError(msg) from fault
    if node is None:
        return
    if not isinstance(node, yaml.MappingNode):
        msg = "there is no list of fields; write one 'name: value' a line"
        raise FrontMatterError(msg, first_row)
    for key, value in node.value:
        row = key.start_mark.line + first_row
        if not isinstance(key, yaml.ScalarNode) or not isinstance(value, yaml.ScalarNode):
            msg = f"the field in row {row} holds a list or a block; write one 'name: value' a line"
            raise FrontMatterError(msg, row)
        yield key.value, value.value, row
