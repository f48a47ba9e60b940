"""YAML as people write it on a sheet: plain fields, every value a text.

The loader resolves nothing: `no` stays no, 0417 keeps its nought, 9:30 is no number of seconds,
and no tag makes an object. Only a flat mapping of scalars is a sheet; anything else is a finding.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import yaml

from schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

#: A value of a lone - or ? says that nothing is known; to YAML it opens a list or a key.
_LONE_MARK = re.compile(r"^([^\s#:][^:\n]*:[ \t]*)([-?])[ \t]*$", re.MULTILINE)
#: A text with a colon and a space in it is a text; to YAML it would be a list of fields.
_COLON_INSIDE = re.compile(
    r"^([^\s#:][^:\n]*:[ \t]+)([^\s\"'\[{&*!|>%@`#-][^\n]*:[ \t][^\n]*)$", re.M
)


class _Loader(getattr(yaml, "CBaseLoader", yaml.BaseLoader)):  # type: ignore[misc]  # no stub
    """Takes every scalar as it stands: there is nothing to resolve."""

    def resolve(self, *_: object) -> str:
        return ""

    def descend_resolver(self, *_: object) -> None:
        pass

    def ascend_resolver(self) -> None:
        pass


class FrontMatterError(ValueError):
    """The text is not a plain list of fields; carries the finding."""

    def __init__(self, message: str, row: int | None = None) -> None:
        super().__init__(message)
        self.finding = Finding("front-matter-unreadable", message, row=row)


def _as_meant(text: str) -> str:
    """Quote what people write plainly and YAML would not take as a text; rows stay as they are."""
    for pattern in (_LONE_MARK, _COLON_INSIDE):
        text = pattern.sub(lambda found: found[1] + json.dumps(found[2].strip()), text)
    return text


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
        node = _composed(text)
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
