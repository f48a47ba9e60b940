"""Match headings to fields: any spelling, with or without a unit, our words or the shop's own."""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.values.units import spelled
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
_NOT_NAME = re.compile(r"[\s_\-]+")

#: Customary headings, as `squash` returns them, and the field they mean; with a unit where the
#: heading is a unit. Common practice, no source.
_OF_SHEET: Mapping[str, str] = MappingProxyType(
    {
        "cid": "displacement (in3)", "ci": "displacement (in3)", "displ": "displacement",
        "cubicinches": "displacement (in3)", "sweptvolume": "displacement",
        "cyl": "cylinders", "cr": "compression_ratio", "compression": "compression_ratio",
        "lsa": "lobe_separation", "icl": "intake_centerline", "rod": "rod_length",
        "intakeduration.050": "intake_duration", "exhaustduration.050": "exhaust_duration",
        "intakecentreline": "intake_centerline", "baro": "barometer",
        "humidity": "relative_humidity", "rh": "relative_humidity", "airtemp": "air_temperature",
        "oiltemp": "oil_temperature", "coolanttemp": "coolant_temperature",
        "watertemp": "coolant_temperature", "ignitiontiming": "timing", "date": "tested_on",
        "remarks": "notes", "comments": "notes", "id": "sheet_id", "sheet": "sheet_id",
    }
)  # fmt: skip
_OF_PULL: Mapping[str, str] = MappingProxyType(
    {
        "enginespeed": "rpm", "enginerpm": "rpm", "rev/min": "rpm", "1/min": "rpm", "r/min": "rpm",
        "revs": "rpm", "u/min": "rpm", "tr/min": "rpm", "tq": "torque", "trq": "torque",
        "lbft": "torque", "ftlb": "torque", "ftlbs": "torque", "lbsft": "torque",
        "ft/lb": "torque", "ft/lbs": "torque",
        "lb.ft": "torque", "ft.lb": "torque", "nm": "torque (N.m)", "n.m": "torque (N.m)",
        "hp": "power", "bhp": "power", "pwr": "power", "horsepower": "power", "kw": "power (kW)",
        "ps": "power (PS)", "run": "pull", "sweep": "pull",
    }
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
    """

    field: str | None
    unit: str | None = None
    inferred: bool = False
    number: int | None = None


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
    ) -> None:
        self._fields = fields
        self._names = {squash(name): name for name in fields}
        self._longest_first = sorted(self._names, key=len, reverse=True)
        self._customary = customary
        self._own = own
        self._ignored = ignored
        self._seen: dict[str, Named] = {}

    def __call__(self, heading: str) -> Named:
        named = self._seen.get(heading)
        if named is None:
            named = self._seen[heading] = self._find(heading.strip())
        return named

    def _find(self, heading: str) -> Named:
        short = squash(heading)
        if short in self._ignored:
            return NOTHING
        if (meaning := self._own.get(short)) is not None:
            return self._plain(meaning)._replace(inferred=True)
        named = self._plain(heading)
        if named.field is None and short in self._customary:
            named = self._plain(self._customary[short])._replace(inferred=True)
        if named.field is None and (found := _BRACKET.match(heading)) is not None:
            meaning = self._customary.get(squash(found["name"]), "")
            if meaning in self._fields:
                named = Named(meaning, found["unit"].strip() or None, inferred=True)
        return named

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
        of_shop = {squash(heading): meaning for heading, meaning in (own or {}).items()}
        self.sheet = _Words(FIELDS, _OF_SHEET, of_shop, ignored)
        self.pull = _Words(PULL_FIELDS, _OF_PULL, of_shop, ignored)
        self.pulls = _Words(
            {**PULL_FIELDS, "sheet_id": FIELDS["sheet_id"]},
            {**_OF_PULL, "id": "sheet_id", "sheet": "sheet_id"},
            of_shop,
            ignored,
        )


#: Headings without any of a shop's own.
PLAIN = Headings()
