"""Units that answers are shown in; everything inside, and all JSON, is in lb-ft, hp and inches."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.schemas import field_words

if TYPE_CHECKING:
    from pullbook.schemas.answer import Between, Peak


class Units(StrEnum):
    """Inch or metric."""

    INCH = "inch"
    METRIC = "metric"

    def of(self, unit: str) -> str:
        """Return the unit that is shown for one of ours."""
        return field_words.METRIC[unit][0] if self.metric and unit in field_words.METRIC else unit

    def shown(self, number: float, unit: str) -> float:
        """Return a number in the unit that is shown for ours."""
        if not self.metric or unit not in field_words.METRIC:
            return number
        _, factor, offset = field_words.METRIC[unit]
        return (number - offset) * factor

    def between(self, one: Between, unit: str) -> Between:
        """Return a value with its limits in the unit that is shown for ours."""
        return one.times(self.shown(1.0, unit))

    def peak(self, one: Peak | None, unit: str) -> Peak | None:
        """Return a peak in the unit that is shown for ours."""
        return None if one is None else replace(one, height=self.between(one.height, unit))

    @property
    def metric(self) -> bool:
        """Whether these are metric units."""
        return self is Units.METRIC

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
        return f"Torque in {self.torque}, power in {self.power}, at the flywheel ({REFERENCE})."

    @property
    def torque_axis(self) -> str:
        """What a chart's axis of torque says."""
        return f"torque, {self.torque} ({REFERENCE})"

    @property
    def power_axis(self) -> str:
        """What a chart's axis of power says."""
        return f"power, {self.power} ({REFERENCE})"

    @property
    def torque_condition(self) -> str:
        """The unit of torque and the condition it holds at."""
        return f"{self.torque} at the flywheel, {REFERENCE}"

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
        """Return a field's name with its unit, to head a column or an axis."""
        unit = field_words.unit_of(name, metric=self.metric)
        return f"{label(name)}, {unit}" if unit else label(name)


def label(name: str) -> str:
    """Return the name of a field, or of a size worked out of fields, in words."""
    return field_words.spoken(name)
