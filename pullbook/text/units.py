"""Units that answers are shown in; everything inside, and all JSON, is in lb-ft, hp and inches."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.pipeline.values.units import scale
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from pullbook.schemas.answer import Between, Peak

#: The metric unit that replaces each of ours.
_METRIC = {
    "in": "mm",
    "in2": "cm2",
    "in3": "cc",
    "ft": "m",
    "cfm": "L/s",
    "psi": "kPa",
    "degF": "degC",
    "inHg": "kPa",
    "lb-ft": "N.m",
    "hp": "kW",
}
#: Angles are shown without saying of which shaft.
_SHORT = {"crank deg": "deg", "cam deg": "deg"}
#: Cubic centimetres in a cubic inch, exactly.
_CC = 16.387064


class Units(StrEnum):
    """Inch or metric."""

    INCH = "inch"
    METRIC = "metric"

    def of(self, unit: str) -> str:
        """Return the unit that is shown for one of ours."""
        unit = _SHORT.get(unit, unit)
        return _METRIC.get(unit, unit) if self is Units.METRIC else unit

    def shown(self, number: float, unit: str) -> float:
        """Return a number in the unit that is shown for ours."""
        if self is Units.INCH or unit not in _METRIC:
            return number
        if unit == "in3":  # of displacement, which is no field of a sheet
            return number * _CC
        slope, offset = scale(self.of(unit), unit)
        return (number - offset) / slope

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
        unit = FIELDS[name].unit if name in FIELDS else "in3"
        digits = "d" if isinstance(value, int) and self.of(unit) == unit else ".4g"
        number = self.shown(value, unit) if digits == ".4g" else value
        return f"{number:{digits}} {self.of(unit)}".rstrip().replace(" :", ":")

    def named(self, name: str, value: object) -> str:
        """Return a field's name and its value with the unit: ``intake duration 230 deg``."""
        return f"{label(name)} {self.field(name, value)}"

    def axis(self, name: str) -> str:
        """Return a field's name with its unit, to head a column or an axis."""
        unit = self.of(FIELDS[name].unit) if name in FIELDS else self.of("in3")
        return f"{label(name)}, {unit}" if unit else label(name)


def label(name: str) -> str:
    """Return the name of a field, or of a size worked out of fields, in words."""
    return FIELDS[name].label if name in FIELDS else name.replace("_", " ")
