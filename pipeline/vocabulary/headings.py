"""Match headings to fields: any spelling, with or without a unit, our words or the shop's own."""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.vocabulary import column_heading
from pullbook.pipeline.vocabulary.heading_words import OF_SHEET
from pullbook.pipeline.vocabulary.units import spelled
from pullbook.pipeline.vocabulary.words import plain_word
from pullbook.schemas.fields import FIELDS, PULL_FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.field import Field

_BRACKET = re.compile(r"^(?P<name>[^(\[]+?)\s*[(\[](?P<unit>[^)\]]*)[)\]]\s*$")
_AFTER_COMMA = re.compile(r"^(?P<name>[^,]+),\s*(?P<unit>[^,]+)$")
_NUMBERED = re.compile(r"^(.+?)[\s_\-#]*(?:run|pull|no\.?)?[\s_\-#]*(\d{1,2})$", re.IGNORECASE)
_NUMBERED_FIRST = re.compile(
    r"^(?:run|pull|no\.?|#)[\s_\-#]*(\d{1,2})[\s_\-:]+(.+)$", re.IGNORECASE
)
#: Most characters of a heading, and most spellings that are kept in mind.
LONGEST, _MOST_SEEN = 200, 20_000
_NOT_NAME = re.compile(r"[\s_\-]+")

#: Headings of a table with many pulls that are no quantities; others are read word by word.
_OF_PULL: Mapping[str, str] = MappingProxyType(
    {"run": "pull", "sweep": "pull", "runno": "pull", "run#": "pull", "pass": "pull",
     "pullno": "pull", "pull#": "pull", "testrun": "pull", "lauf": "pull", "messung": "pull",
     "ensayo": "pull", "pasada": "pull"}
)  # fmt: skip


class Named(NamedTuple):
    """The field that a heading names.

    Attributes
    ----------
    field
        The field's name; ``None`` if the heading is not known.
    unit
        The unit in the heading, if any.
    inferred
        Whether the match is a customary word or one of the shop's own, which gets a note.
    number
        The number of the pull if the heading ends in one, as in ``torque 2``.
    basis, factor
        As for `column_heading.ColumnHeading`; of columns of a pull alone.
    """

    field: str | None
    unit: str | None = None
    inferred: bool = False
    number: int | None = None
    basis: str | None = None
    factor: float = 1.0


NOTHING = Named(None)


def squash(text: str) -> str:
    """Return a heading in lower case, without spaces, hyphens and underscores.

    >>> squash("Intake_Duration-Seat")
    'intakedurationseat'
    """
    return _NOT_NAME.sub("", text).casefold()


class _Words:
    """The headings of one kind of table; each spelling is looked up once."""

    def __init__(
        self,
        fields: Mapping[str, Field],
        customary: Mapping[str, str],
        own: Mapping[str, str],
        ignored: frozenset[str],
        *,
        quantities: bool,
    ) -> None:
        self._fields = fields
        self._names = {squash(name): name for name in fields}
        self._longest_first = sorted(self._names, key=len, reverse=True)
        self._customary = customary
        self._customary_longest_first = sorted(customary, key=len, reverse=True)
        self._quantities = quantities
        self._own = own
        self._ignored = ignored
        self._seen: dict[str, Named] = {}

    def __call__(self, heading: str) -> Named:
        named = self._seen.get(heading)
        if named is None:
            if len(heading) > LONGEST:
                return NOTHING
            if len(self._seen) > _MOST_SEEN:
                self._seen.clear()
            named = self._seen[heading] = self._find(heading.strip())
        return named

    def _find(self, heading: str) -> Named:
        heading = heading.rstrip(": ")
        short = squash(heading)
        if short in self._ignored:
            return NOTHING
        if (meaning := self._own.get(short)) is not None:
            return self._own_meaning(meaning)._replace(inferred=True)
        if (name := self._names.get(short)) is not None:
            return Named(name)
        if self._quantities and (quantity := self._quantity(heading)) is not None:
            return quantity
        named = self._plain(heading)
        return named if named.field is not None else self._find_customary(heading)

    def _own_meaning(self, meaning: str) -> Named:
        if (name := self._names.get(squash(meaning))) is not None:
            return Named(name)
        quantity = self._quantity(meaning) if self._quantities else None
        return quantity or self._plain(meaning)

    def _quantity(self, heading: str) -> Named | None:
        found = column_heading.read(heading)
        if found is None:
            return None
        plain = squash(heading).startswith(found.field) and found.basis is None
        inferred = not plain or found.factor != 1.0
        return Named(found.field, found.unit, inferred, found.number, found.basis, found.factor)

    def _find_customary(self, heading: str) -> Named:
        word = plain_word(heading)
        if (meaning := self._customary.get(word)) is not None:
            return self._plain(meaning)._replace(inferred=True)
        for pattern in (_BRACKET, _AFTER_COMMA):
            if (found := pattern.match(heading)) is not None:
                meaning = self._customary.get(plain_word(found["name"]), "")
                if meaning in self._fields:
                    return Named(meaning, found["unit"].strip() or None, inferred=True)
        short = squash(heading)
        for own in self._customary_longest_first:
            meaning = self._customary[own]
            unit = word.removeprefix(own)
            if meaning in self._fields and unit != word and self._fields[meaning].unit:
                ending = short[-len(unit) :]
                for text in (unit, ending):
                    if text and spelled(text, self._fields[meaning].unit):
                        return Named(meaning, text, inferred=True)
        return NOTHING

    def _plain(self, heading: str) -> Named:
        if (name := self._names.get(squash(heading))) is not None:
            return Named(name)
        for pattern in (_BRACKET, _AFTER_COMMA):
            if (found := pattern.match(heading)) is not None:
                name = self._names.get(squash(found["name"]))
                return Named(name, found["unit"].strip() or None) if name else NOTHING
        short = squash(heading)
        for name in self._longest_first:
            unit = short.removeprefix(name)
            if unit != short and spelled(unit, self._fields[self._names[name]].unit):
                return Named(self._names[name], unit)
        return NOTHING

    def numbered(self, heading: str) -> Named:
        """Return the column of a heading that ends in the number of a pull, as ``torque 2``."""
        if len(heading) > LONGEST:
            return NOTHING
        bare, _, unit = heading.partition("(")
        unit, _, after = unit.partition(")")
        found = _NUMBERED.match(f"{bare.strip()} {after.strip()}".strip())
        first = _NUMBERED_FIRST.match(bare.strip())
        if found is None and first is None:
            return NOTHING
        name, number = (found[1], found[2]) if found else (first[2], first[1])  # type: ignore[index]
        named = self(f"{name} ({unit})" if unit else name)
        return named._replace(number=int(number)) if named.field else NOTHING


class Headings:
    """All headings that are understood: ours in any spelling, customary ones and a shop's own.

    Attributes
    ----------
    sheet, pull, pulls
        Callables that return the field a heading names: in a sheet, in its pull, and in a table
        with the pulls of many sheets.
    """

    def __init__(
        self, own: Mapping[str, str] | None = None, ignored: frozenset[str] = frozenset()
    ) -> None:
        """Add the shop's own headings, each with the heading of ours that it means.

        Squashed headings that are ``ignored`` name no field.
        """
        self._made_of = (dict(own or {}), ignored)
        of_shop = {squash(heading): meaning for heading, meaning in (own or {}).items()}
        self.sheet = _Words(FIELDS, OF_SHEET, of_shop, ignored, quantities=False)
        self.pull = _Words(PULL_FIELDS, _OF_PULL, of_shop, ignored, quantities=True)
        self.pulls = _Words(
            {**PULL_FIELDS, "sheet_id": FIELDS["sheet_id"]},
            {**_OF_PULL, **{w: m for w, m in OF_SHEET.items() if m == "sheet_id"}},
            of_shop,
            ignored,
            quantities=True,
        )

    def __reduce__(self) -> str | tuple[type[Headings], tuple[dict[str, str], frozenset[str]]]:
        """Go to another process as what they were made of; the plain ones are there already."""
        return "PLAIN" if self is PLAIN else (Headings, self._made_of)


#: Headings without any of a shop's own.
PLAIN = Headings()
