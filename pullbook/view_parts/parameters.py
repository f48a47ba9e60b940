"""What an address asks for: band, level, units and fields, each with its fault beside it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pullbook.view_parts import demands
from pullbook.view_parts.demands import CEILINGS, LOADS, Demands
from pullbook.view_parts.rendering import units_of
from pullbook.workspace import build_fields

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.words.units import Units

BAND = (2500.0, 4500.0)
LEVEL = 0.9
_LOWEST, _HIGHEST = 300.0, 20000.0
#: Levels to choose from.
LEVELS = (0.8, 0.9, 0.95)


@dataclass(slots=True)
class Parameters:
    """The parameters of a question.

    Attributes
    ----------
    units, band, level
        As asked, or as usual where the address says nothing.
    fields
        Fields of a build as typed.
    demands
        What the engine must drive, and should not exceed.
    given
        All that the address says.
    faults
        What is wrong, by parameter.
    """

    units: Units
    band: tuple[float, float]
    level: float
    fields: dict[str, str]
    demands: Demands
    given: dict[str, str]
    faults: dict[str, str] = field(default_factory=dict)

    @property
    def load_examples(self) -> str:
        """What may be typed as a load."""
        return demands.LOAD_EXAMPLES[self.units.metric]

    @property
    def address(self) -> dict[str, str]:
        """What another address takes along of what is asked and how it is shown."""
        return {name: self.given[name] for name in SHOWN if self.given.get(name)}


#: The units that the numbers of a form were typed in.
WERE = "were"
#: The measured pull that is drawn beside a prediction.
BESIDE = "beside"
#: Parameters of a question besides its build.
SHOWN = ("units", "band_low", "band_high", "level", LOADS, *CEILINGS, BESIDE)


def read(given: Mapping[str, str]) -> Parameters:
    """Return the parameters of an address; a fault falls back to what is usual and is said."""
    faults: dict[str, str] = {}
    band = _band(given, faults)
    try:
        level = float(given.get("level") or LEVEL)
    except ValueError:
        level = -1.0
    if not 0 < level < 1:
        faults["level"] = "The level of the limits lies between 0 and 1, such as 0.9."
        level = LEVEL
    fields = {
        name: text for name, text in given.items() if build_fields.typed(name) and text.strip()
    }
    units = units_of(given)
    if given.get(WERE):
        fields = build_fields.converted(fields, units_of({"units": given[WERE]}), units)
    wanted = demands.read(given, faults)
    return Parameters(units, band, level, fields, wanted, dict(given), faults)


def _band(given: Mapping[str, str], faults: dict[str, str]) -> tuple[float, float]:
    texts = [given.get(name, "").strip() for name in ("band_low", "band_high")]
    try:
        low, high = (float(text or usual) for text, usual in zip(texts, BAND, strict=True))
    except ValueError:
        faults["band"] = "Type the band in rpm, such as 2500 to 4500."
        return BAND
    if not _LOWEST <= low < high <= _HIGHEST:
        faults["band"] = (
            f"The band must rise and lie between {_LOWEST:.0f} and {_HIGHEST:.0f} rpm, such as"
            " 2500 to 4500."
        )
        return BAND
    return low, high
