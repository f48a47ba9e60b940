"""Sheets whose pull stands out from others of its family: a wrong unit is seen at a glance.

Pulls are compared by their torque per cubic inch, so that engines of any size lie over one another.
"""

from __future__ import annotations

import math
from statistics import median
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.checks.pull_rules import curves
from pullbook.pipeline.physics.reference_condition import route, weather_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pullbook.pipeline.values.sheet import Sheet

#: A family with fewer pulls is compared with all pulls.
_FEWEST = 4
#: A pull stands out if its level is this far, as a share, from the median of its like, and this
#: many times as far as their median distance (common practice, no source).
_OFF, _TIMES = 0.15, 4.0


class Laid(NamedTuple):
    """A sheet's pull as torque per cubic inch at the reference condition.

    Attributes
    ----------
    sheet_id, family
        Of the sheet; a sheet without a family has a blank one.
    rpm, specific
        Speeds, and torque per displacement, lb-ft per in3.
    off
        How far its level is from that of its like, as a share; 0 where it does not stand out.
    boosted
        Whether the engine is boosted: such engines are compared with one another.
    """

    sheet_id: str
    family: str
    rpm: tuple[float, ...]
    specific: tuple[float, ...]
    off: float
    boosted: bool


def lay_over(sheets: Iterable[Sheet]) -> list[Laid]:
    """Return the first pull of every sheet of known size, and which stand out."""
    laid = [one for sheet in sheets if (one := _of_sheet(sheet)) is not None]
    of_all: dict[bool, list[float]] = {}
    like: dict[tuple[str, bool], list[float]] = {}
    for one in laid:
        of_all.setdefault(one.boosted, []).append(_level(one))
        like.setdefault((one.family, one.boosted), []).append(_level(one))
    made = []
    for one in laid:
        own = like[one.family, one.boosted]
        others = own if len(own) >= _FEWEST else of_all[one.boosted]
        made.append(one._replace(off=_off(_level(one), others)))
    return made


def _of_sheet(sheet: Sheet) -> Laid | None:
    size, pulls = sheet.displacement, curves(sheet)
    points = [(rpm, torque) for rpm, torque, _ in pulls[0] if torque > 0] if pulls else []
    if not size or len(points) < 2:
        return None
    factor = _factor(sheet) / size
    rpm, torque = zip(*points, strict=True)
    family = str(sheet.values.get("family") or "")
    specific = tuple(factor * one for one in torque)
    boosted = sheet.values.get("aspiration") not in (None, "natural")
    return Laid(sheet.sheet_id, family, rpm, specific, 0.0, boosted)


def _factor(sheet: Sheet) -> float:
    """Return the factor to the reference condition; 1 where the sheet does not tell it."""
    stated = sheet.values.get("correction")
    known = stated is not None and (stated != "observed" or weather_of(sheet.values) is not None)
    return route(sheet.values).factor if known else 1.0


def _level(one: Laid) -> float:
    return math.log(median(one.specific))


def _off(level: float, others: list[float]) -> float:
    if len(others) < _FEWEST:
        return 0.0
    middle = median(others)
    spread = median(abs(one - middle) for one in others)
    off = level - middle
    share = math.exp(off) - 1
    return share if abs(share) > _OFF and abs(off) > _TIMES * spread else 0.0
