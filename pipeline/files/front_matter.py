"""Read the fields of a sheet: YAML as people write it, every value as text.

The loader does not interpret values: `no` stays the text no, 0417 keeps its zero, 9:30 does not
become seconds, and tags do not make objects. Only a flat mapping of scalars is accepted; anything
else is a finding.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import yaml

from pullbook.pipeline.files import bounds
from pullbook.pipeline.vocabulary.headings import PLAIN
from pullbook.schemas.errors import InputError
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Most values of a file of settings, or of a build.
_MOST_NODES = 200_000
#: What a value that is no plain text begins with; a # after a blank starts a comment in YAML.
_NOT_PLAIN, _COMMENT = tuple("\"'#|>[{&*!%@"), re.compile(r"[ \t]#")


class _Loader(getattr(yaml, "CBaseLoader", yaml.BaseLoader)):  # type: ignore[misc]  # no stub
    """A YAML loader that keeps every scalar as text."""

    def resolve(self, *_: object) -> str:
        return ""

    def descend_resolver(self, *_: object) -> None:
        pass

    def ascend_resolver(self) -> None:
        pass


class FrontMatterError(InputError):
    """The text is not a plain list of fields; ``finding`` says why."""

    def __init__(self, message: str, row: int | None = None) -> None:
        super().__init__(message)
        self.finding = Finding("front-matter-unreadable", message, row=row)


def _quote_values(text: str) -> str:
    """Quote every value that is on one line with its name; the number of lines stays the same.

    So a lone - or ?, a colon, an asterisk or a quotation mark is read as plain text.
    """
    return "\n".join(map(_quote_value, text.split("\n")))


def _quote_value(line: str) -> str:
    name, colon, value = (part.strip(" \t") for part in line.partition(":"))
    if not name or name[0] == "#" or not colon or not value or value[0] in "[{#":
        return line
    quote = value[0] if value[0] in "\"'" else ""
    if quote and (value.count(quote) == 1 or value.endswith(quote)):
        return line
    return f"{name}: {json.dumps(value)}"


def _quote_hashes(text: str) -> str:
    """Quote the # in values of text fields; in other fields it starts a comment, as in YAML."""
    return "\n".join(_quote_hash(line) if "#" in line else line for line in text.split("\n"))


def _quote_hash(line: str) -> str:
    name, colon, rest = line.partition(":")
    value = rest.strip()
    begins = name.strip()[:1]
    if (
        not begins
        or begins == "#"
        or not colon
        or not rest.startswith((" ", "\t"))
        or not value
        or value.startswith(_NOT_PLAIN)
        or _COMMENT.search(value) is None
    ):
        return line
    field = PLAIN.sheet(name.strip()).field
    is_text = field is not None and FIELDS[field].kind is Kind.TEXT
    return f"{name}: {json.dumps(value)}" if is_text else line


def _compose(text: str) -> yaml.Node | None:
    """Parse a text as YAML; if that is not a flat list of fields, parse it with values quoted."""
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
    return yaml.compose(_quote_values(text), Loader=_Loader)


def nested(text: str) -> dict[str, Any]:
    """Return a YAML mapping of mappings, lists and texts; every scalar is a text, a blank ``None``.

    Raises
    ------
    FrontMatterError
        The text is not YAML, or no mapping.

    """
    try:
        node = yaml.compose(text, Loader=_Loader)
        found = _plain(node, [_MOST_NODES])
    except yaml.YAMLError as error:
        problem, row = _problem(error, 1)
        msg = problem if row is None else f"row {row}: {problem}"
        raise FrontMatterError(msg, row) from error
    except RecursionError as error:
        msg = "it is nested too deep"
        raise FrontMatterError(msg) from error
    if found is None:
        return {}
    if not isinstance(found, dict):
        msg = "there are no settings; write one 'name: value' per line"
        raise FrontMatterError(msg)
    return found


def _problem(error: yaml.YAMLError, first_row: int) -> tuple[str, int | None]:
    """Return what is wrong with a text as YAML, and in which row, if it says so."""
    mark = getattr(error, "problem_mark", None)
    row = None if mark is None else mark.line + first_row
    return str(getattr(error, "problem", None) or "this is not YAML"), row


def _plain(node: yaml.Node | None, left: list[int]) -> Any:
    left[0] -= 1
    if left[0] < 0:  # a few lines that name one another can stand for billions
        msg = f"it holds more than {_MOST_NODES} values"
        raise FrontMatterError(msg)
    if isinstance(node, yaml.MappingNode):
        return {str(key.value): _plain(value, left) for key, value in node.value}
    if isinstance(node, yaml.SequenceNode):
        return [_plain(value, left) for value in node.value]
    return None if node is None or not node.value.strip() else str(node.value)


def read(text: str, first_row: int = 1) -> Iterator[tuple[str, str, int]]:
    """Yield heading, text and row of every field, in the order of the file.

    Parameters
    ----------
    text
        The YAML text.
    first_row
        The row of its first line in the file, counted from 1.

    Raises
    ------
    FrontMatterError
        The text is not YAML, or not a flat list of fields.

    """
    try:
        node = _compose(_quote_hashes(text) if " #" in text or "\t#" in text else text)
    except yaml.YAMLError as error:
        problem, row = _problem(error, first_row)
        msg = f"The fields cannot be read: {problem}. Write one 'name: value' per line."
        raise FrontMatterError(msg, row) from error
    except RecursionError as error:
        msg = "The fields are nested too deep. Write one 'name: value' per line."
        raise FrontMatterError(msg) from error
    if node is None:
        return
    if not isinstance(node, yaml.MappingNode):
        msg = "There are no fields. Write one 'name: value' per line."
        raise FrontMatterError(msg, first_row)
    if len(node.value) > bounds.FIELDS:
        msg = f"There are {len(node.value)} fields; the limit is {bounds.FIELDS}."
        raise FrontMatterError(msg, first_row)
    for key, value in node.value:
        row = key.start_mark.line + first_row
        if not isinstance(key, yaml.ScalarNode) or not isinstance(value, yaml.ScalarNode):
            msg = f"The field in row {row} is a list or a block. Write one 'name: value' per line."
            raise FrontMatterError(msg, row)
        yield key.value, value.value, row
