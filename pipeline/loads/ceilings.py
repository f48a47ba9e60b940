"""What an engine should not exceed, as a person says it: octane, peak speed, mean piston speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.constants import FOOT
from pullbook.pipeline.vocabulary import numerals
from pullbook.schemas.errors import InputError, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Sequence

NAMES = ("octane", "peak_speed", "piston_speed")
#: Metres a second for each unit of piston speed.
_PISTON_UNITS = {"m/s": 1.0, "ft/min": FOOT / 60, "fpm": FOOT / 60}
_UNITS = {"octane": "aki", "peak_speed": "rpm"}
EXAMPLES = 'octane=87, peak_speed=5000 or piston_speed="3800 ft/min"'
#: The highest mean piston speed that is usual, m/s (common practice, no source).
USUAL_PISTON_SPEED = 25.0


class CeilingError(InputError):
    """A ceiling that cannot be used; the message says what to write."""


@dataclass(frozen=True, slots=True)
class Ceilings:
    """What should not be exceeded: AKI octane, rev/min at highest power, and m/s."""

    octane: float | None = None
    peak_speed: float | None = None
    piston_speed: float = USUAL_PISTON_SPEED


def read(given: Sequence[str]) -> Ceilings:
    """Return the ceilings that texts such as ``octane=87`` mean.

    >>> round(read(["octane=87", "piston_speed=3937 ft/min"]).piston_speed, 3)
    20.0

    Raises
    ------
    CeilingError
        One is none.

    """
    found: dict[str, float] = {}
    for text in given:
        name, _, value = text.partition("=")
        name = name.strip().casefold().replace(" ", "_").replace("-", "_")
        if name not in NAMES:
            msg = f"{text!r} is nothing to be cautious of; write {EXAMPLES}."
            raise CeilingError(msg + did_you_mean(name, NAMES))
        number = numerals.read(value.strip())
        unit = "" if number is None else number.rest.strip().casefold()
        factor = _factor(name, unit)
        if number is None or factor is None or len(number.readings) > 1 or number.readings[0] <= 0:
            msg = f"{text!r} is no number in a unit that is known; write {EXAMPLES}"
            raise CeilingError(msg)
        found[name] = number.readings[0] * factor
    return Ceilings(**found)


def _factor(name: str, unit: str) -> float | None:
    if name == "piston_speed":
        return _PISTON_UNITS.get(unit)
    return 1.0 if unit in ("", _UNITS[name]) else None
