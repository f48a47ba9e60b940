"""Units and standard that answers are shown at; inside, all is in lb-ft, hp, in and SAE J1349."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, ClassVar, Protocol, Self

from pullbook.pipeline.physics.correction_factors import REFERENCE, Weather, to_reference
from pullbook.schemas import field_words

if TYPE_CHECKING:
    from pullbook.schemas.answer import Between, Peak

#: Units of what is corrected to a standard.
_CORRECTED = ("lb-ft", "hp")


class Scalable(Protocol):
    """An answer whose torque and power can be brought to another standard."""

    def times(self, factor: float) -> Self:
        """Return the answer with its torque and power multiplied by a factor."""

    def as_json(self) -> dict[str, Any]:
        """Return the answer as JSON."""


class UnitSystem(StrEnum):
    """Inch or metric, as a user asks for it."""

    INCH = "inch"
    METRIC = "metric"


@dataclass(frozen=True, slots=True)
class Units:
    """How numbers are shown: in which units, and torque and power at which standard.

    Inside, and in what `Answer` and its like hold, everything is in lb-ft, hp and inches at the
    reference condition. This is the one place that says what a user sees instead.

    Attributes
    ----------
    system
        Inch or metric.
    standard
        The correction standard of torque and power.
    weather
        The weather of a sheet they are shown beside; without one, the nominal ratio of the two
        standards counts.
    """

    system: UnitSystem = UnitSystem.INCH
    standard: str = REFERENCE
    weather: Weather | None = None

    INCH: ClassVar[Units]
    METRIC: ClassVar[Units]

    @property
    def ratio(self) -> float:
        """What torque and power at the reference condition are multiplied by.

        >>> round(Units(standard="SAE J607").ratio, 3), Units.INCH.ratio
        (1.04, 1.0)
        """
        return 1.0 / to_reference(self.standard, self.weather)

    def of(self, unit: str) -> str:
        """Return the unit that is shown for one of ours."""
        return field_words.METRIC[unit][0] if self.metric and unit in field_words.METRIC else unit

    def shown(self, number: float, unit: str) -> float:
        """Return a number in the unit, and torque or power at the standard, that is shown."""
        return self.in_unit(number * self.ratio if unit in _CORRECTED else number, unit)

    def in_unit(self, number: float, unit: str) -> float:
        """Return a number in the unit that is shown, at whatever standard it is."""
        if not self.metric or unit not in field_words.METRIC:
            return number
        _, factor, offset = field_words.METRIC[unit]
        return (number - offset) * factor

    def between(self, one: Between, unit: str) -> Between:
        """Return a value with its limits as they are shown."""
        return one.times(self.shown(1.0, unit))

    def peak(self, one: Peak | None, unit: str) -> Peak | None:
        """Return a peak as it is shown."""
        return None if one is None else one.times(self.shown(1.0, unit))

    def as_json(self, found: Scalable) -> dict[str, Any]:
        """Return an answer as JSON: at the standard, which it names, and in our own units."""
        return {**found.times(self.ratio).as_json(), "correction": self.standard}

    @property
    def metric(self) -> bool:
        """Whether these are metric units."""
        return self.system is UnitSystem.METRIC

    @property
    def torque(self) -> str:
        """The unit of torque."""
        return self.of("lb-ft")

    @property
    def power(self) -> str:
        """The unit of power."""
        return self.of("hp")

    @property
    def condition(self) -> str:
        """The units of torque and power and the condition both hold at."""
        at = f"Torque in {self.torque}, power in {self.power}, at the flywheel ({self.standard})."
        return " ".join([at, *self.converted])

    @property
    def converted(self) -> list[str]:
        """How torque and power came to the standard, where it is not the reference condition."""
        if self.standard == REFERENCE:
            return []
        how = (
            "the nominal ratio, as a prediction has no weather"
            if self.weather is None
            else "the ratio in the weather of the sheet"
        )
        return [f"{self.standard} is {REFERENCE} times {self.ratio:.3f}: {how}."]

    @property
    def torque_axis(self) -> str:
        """What a chart's axis of torque says."""
        return f"torque, {self.torque} ({self.standard})"

    @property
    def power_axis(self) -> str:
        """What a chart's axis of power says."""
        return f"power, {self.power} ({self.standard})"

    @property
    def torque_condition(self) -> str:
        """The unit of torque and the condition it holds at."""
        return f"{self.torque} at the flywheel, {self.standard}"

    def field(self, name: str, value: object) -> str:
        """Return the value of a field with its unit, for a person to read.

        >>> Units.METRIC.field("bore", 4.0), Units.INCH.field("compression_ratio", 9.4)
        ('101.6 mm', '9.4:1')
        """
        if isinstance(value, bool):
            return "yes" if value else "no"
        if not isinstance(value, int | float):
            return str(value)
        digits = field_words.digits_of(name, value, metric=self.metric)
        return field_words.with_unit(name, value, metric=self.metric, digits=digits)

    def named(self, name: str, value: object) -> str:
        """Return a field's name and its value with the unit: ``intake duration 230 deg``."""
        return f"{label(name)} {self.field(name, value)}"

    def axis(self, name: str) -> str:
        """Return a field's name with its unit, to head a column or an axis.

        >>> Units.INCH.axis("bore"), Units.INCH.axis("compression_ratio")
        ('bore, in', 'compression ratio')
        """
        unit = field_words.unit_of(name, metric=self.metric)
        return f"{label(name)}, {unit}" if unit and not unit.startswith(":") else label(name)


Units.INCH = Units()
Units.METRIC = Units(UnitSystem.METRIC)


def label(name: str) -> str:
    """Return the name of a field, or of a size worked out of fields, in words."""
    return field_words.spoken(name)
