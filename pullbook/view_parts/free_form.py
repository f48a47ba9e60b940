"""What a search may change and what it is for, as a form has them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import TYPE_CHECKING

from pullbook.pipeline.builds.free_fields import LEADING
from pullbook.pipeline.builds.parts import BANDS
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS
from pullbook.view_parts.parameters import WERE
from pullbook.view_parts.rendering import units_of
from pullbook.workspace import build_fields

if TYPE_CHECKING:
    from starlette.datastructures import QueryParams

    from pullbook.view_parts.parameters import Parameters
    from pullbook.words.units import Units

#: What may be searched for, in words.
GOALS = {
    "mean_torque": "mean torque over a band",
    "least_torque": "lowest torque in a band",
    "torque": "torque at one speed",
    "power": "power at one speed",
}
#: Fields that may be set free by themselves.
FIELDS_TO_FREE = {
    name: FIELDS[name].title
    for name in BUILD_FIELDS
    if FIELDS[name].kind in {Kind.NUMBER, Kind.CHOICE}
}
_ROWS = 2


@dataclass(frozen=True, slots=True)
class Range:
    """A field that may change by itself, and its range as typed."""

    name: str = ""
    low: str = ""
    high: str = ""
    fault: str = ""


@dataclass(slots=True)
class Wanted:
    """What a search is asked.

    Attributes
    ----------
    groups
        Groups of parts that may change.
    ranges
        Fields that may change by themselves.
    free
        Both, as `free_fields` takes them.
    of, goal
        The goal's name, and the whole of it as `goal_of` takes it.
    begun
        Whether the address asks for anything.
    faults
        What is wrong, by the part of the form.
    """

    groups: list[str]
    ranges: list[Range]
    free: list[str]
    of: str
    goal: str
    begun: bool
    faults: dict[str, str] = field(default_factory=dict)


def read(given: QueryParams, asked_for: Parameters) -> Wanted:
    """Return what an address asks a search for; what is wrong is said beside its field."""
    faults = dict(asked_for.faults)
    groups = [one for one in given.getlist("free") if one in LEADING]
    were = units_of({"units": given[WERE]}) if given.get(WERE) else asked_for.units
    rows = zip_longest(*(given.getlist(name) for name in ("field", "low", "high")), fillvalue="")
    ranges, free = [], [*groups]
    for name, low, high in rows:
        if name not in FIELDS_TO_FREE:
            continue
        one, text = _range(name, low.strip(), high.strip(), were, asked_for.units)
        ranges.append(one)
        free.append(text)
        if one.fault:
            faults["ranges"] = one.fault
    of = given.get("goal", "")
    of = of if of in GOALS else next(iter(GOALS))
    begun = bool(free) or "goal" in given
    if begun and not free:
        faults["free"] = "Tick at least one group of parts, or name a field."
    goal = f"{of}={asked_for.band[0]:.0f}:{asked_for.band[1]:.0f}"
    if of not in BANDS:
        goal = f"{of}={_one_speed(given, asked_for, faults):.0f}"
    ranges += [Range()] * (_ROWS - len(ranges))
    return Wanted(groups, ranges, free, of, goal, begun, faults)


def _one_speed(given: QueryParams, asked_for: Parameters, faults: dict[str, str]) -> float:
    """Return the one speed of a goal, for which the end of the band does not count."""
    faults.pop("band", None)
    text = given.get("band_low", "").strip()
    try:
        speed = float(text or asked_for.band[0])
    except ValueError:
        speed = math.nan
    if not 0 < speed <= 20000:
        faults["band"] = "Type the speed in rpm, such as 3000."
        return asked_for.band[0]
    return speed


def _range(name: str, low: str, high: str, were: Units, units: Units) -> tuple[Range, str]:
    """Return a field with its range as the form shows it, and as a search takes it."""
    if not (low or high) or FIELDS[name].kind is Kind.CHOICE:
        return Range(name), name
    ends = []
    for text in (low, high):
        build = build_fields.build_of({name: text}, were)
        ends.append(build.number(name) if isinstance(build.values.get(name), float) else None)
    shown = [build_fields.converted({name: text}, were, units).get(name, text)
             for text in (low, high)]  # fmt: skip
    if ends[0] is None or ends[1] is None or not ends[0] < ends[1]:
        fault = f"{FIELDS[name].title}: type a range that rises, such as 200 to 230, or leave both"
        return Range(name, low, high, f"{fault} empty to search all that was tested."), name
    return Range(name, *shown), f"{name}={ends[0]!r}:{ends[1]!r}"
