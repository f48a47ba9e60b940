"""Headings in any reasonable spelling, with or without a unit."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from pipeline.units import spelled

if TYPE_CHECKING:
    from collections.abc import Mapping

    from schemas.fields import Field

_BRACKET = re.compile(r"^(?P<name>[^(\[]+?)\s*[(\[](?P<unit>[^)\]]*)[)\]]\s*$")
_AFTER_COMMA = re.compile(r"^(?P<name>[^,]+),\s*(?P<unit>[^,]+)$")
_NOT_NAME = re.compile(r"[\s_\-]+")


def squash(text: str) -> str:
    """Return a heading without case, spaces, hyphens and underscores.

    >>> squash("Intake_Duration-Seat")
    'intakedurationseat'
    """
    return _NOT_NAME.sub("", text).casefold()


@cache
def _names(fields: tuple[str, ...]) -> dict[str, str]:
    return {squash(name): name for name in fields}


def match(heading: str, fields: Mapping[str, Field]) -> tuple[str | None, str | None]:
    """Find the field a heading names, and the unit it states.

    Parameters
    ----------
    heading
        The heading as written: ``bore``, ``Bore (mm)``, ``Torque [N-m]``, ``torque_nm``.
    fields
        The fields it may name.

    Returns
    -------
    The field's name and the unit's text; ``None`` for what the heading does not say.

    """
    names = _names(tuple(fields))
    heading = heading.strip()
    if (name := names.get(squash(heading))) is not None:
        return name, None
    for pattern in (_BRACKET, _AFTER_COMMA):
        if (found := pattern.match(heading)) is not None:
            name = names.get(squash(found["name"]))
            return name, (found["unit"].strip() or None) if name else None
    return _match_suffix(squash(heading), names, fields)


def _match_suffix(
    squashed: str, names: Mapping[str, str], fields: Mapping[str, Field]
) -> tuple[str | None, str | None]:
    """Take ``torquenm`` apart: the longest field name that leaves a unit of that field."""
    for short in sorted(names, key=len, reverse=True):
        unit = squashed.removeprefix(short)
        if unit != squashed and spelled(unit, fields[names[short]].unit):
            return names[short], unit
    return None, None
