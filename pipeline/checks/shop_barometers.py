"""The usual station pressure of a shop, which tells the unit of a barometer that names none.

A bare 752 is mmHg near the sea and hPa in the mountains. What a shop's other sheets say of their
weather or their elevation settles which.
"""

from __future__ import annotations

from collections import defaultdict
from statistics import median
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.reference_condition import station_pressure
from pullbook.pipeline.values.bare_numbers import STATION_OFF

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pullbook.pipeline.values.sheet import Build


def is_unsettled(code: str, field: str | None) -> bool:
    """Return whether a finding says that the unit of the barometer was assumed."""
    return code == "unit-assumed" and field == "barometer"


def said_by(sheet: Build) -> float | None:
    """Return the station pressure, inHg, that a sheet shows; ``None`` where it is not sure."""
    elevation = sheet.number("elevation")
    if elevation is not None:
        return station_pressure(elevation)
    if any(is_unsettled(found.code, found.field) for found in sheet.findings):
        return None
    return sheet.number("barometer")


def usual(said: Iterable[tuple[str, float]]) -> dict[str, float]:
    """Return the usual station pressure, inHg, of the shops that have one.

    A shop whose sheets differ by more than the weather can, such as one that moved, has none.

    Parameters
    ----------
    said
        Of each sheet that shows it: its shop, and the station pressure, inHg.

    >>> usual([("a", 29.8), ("a", 29.92), ("b", 29.8), ("b", 24.9)])
    {'a': 29.86}
    """
    of_shop: dict[str, list[float]] = defaultdict(list)
    for shop, pressure in said:
        of_shop[shop].append(pressure)
    middles = {shop: median(found) for shop, found in of_shop.items()}
    return {
        shop: round(middle, 2)
        for shop, middle in middles.items()
        if all(abs(one - middle) < STATION_OFF for one in of_shop[shop])
    }
