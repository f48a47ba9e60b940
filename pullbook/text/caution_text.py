"""What a build exceeds, as a builder reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.physics.constants import FOOT
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.schemas.on_request import Caution
    from pullbook.words.units import Units


def lines(found: Sequence[Caution], units: Units) -> list[str]:
    """Return a sentence for each caution."""
    return [f"Caution: {said(one, units)}." for one in found]


def said(one: Caution, units: Units) -> str:
    """Return a caution in words, without a full stop."""
    if one.of == "octane":
        return f"the build asks for {one.value:g} octane, and {one.most:g} is what you have"
    if one.of == "compression_ratio":
        return (
            f"compression ratio {one.value:g}:1 is high for the octane you have; up to"
            f" {one.most:.1f}:1 is usual"
        )
    if one.of == "peak_speed":
        return (
            f"it makes its most power at {figures.speed(one.value)} rpm, and {one.most:g} rpm is"
            " your limit"
        )
    value, most = (_piston(number, units) for number in (one.value, one.most))
    at = "" if one.rpm is None else f" at {figures.speed(one.rpm)} rpm"
    return f"the mean piston speed is {value}{at}, where power is highest; {most} is the limit"


def _piston(speed: float, units: Units) -> str:
    """Return a piston speed, m/s, as it is shown."""
    return f"{speed:.3g} m/s" if units.metric else f"{round(60 * speed / FOOT, -1):.0f} ft/min"
