"""Units that an answer is shown in; everything inside, and all JSON, is lb-ft, hp and inches."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import TYPE_CHECKING

from pullbook.pipeline.values.units import scale
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from pullbook.schemas.answer import Between, Peak

#: What metric readers have in place of a field's own unit.
_METRIC = {
    "in": "mm",
    "in2": "cm2",
    "in3": "cc",
    "psi": "kPa",
    "degF": "degC",
    "inHg": "kPa",
    "lb-ft": "N.m",
    "hp": "kW",
}
#: Cubic centimetres in a cubic inch, exactly.
_CC = 16.387064


class Units(StrEnum):
    """Inch or metric."""

    INCH = "inch"
    METRIC = "metric"

    def of(self, unit: str) -> str:
        """Return the unit that stands in for one of ours."""
        return _METRIC.get(unit, unit) if self is Units.METRIC else unit

    def shown(self, number: float, unit: str) -> float:
        """Return a number in the unit that stands in for ours."""
        if self.of(unit) == unit:
            return number
        if unit == "in3":  # of displacement, which is no field of a sheet
            return number * _CC
        slope, offset = scale(self.of(unit), unit)
        return (number - offset) / slope

    def between(self, one: Between, unit: str) -> Between:
        """Return a value with its limits in the unit that stands in for ours."""
        return one.times(self.shown(1.0, unit))

    def peak(self, one: Peak | None, unit: str) -> Peak | None:
        """Return a peak in the unit that stands in for ours."""
        return None if one is None else replace(one, height=self.between(one.height, unit))

    @property
    def torque(self) -> str:
        """The unit of torque."""
        return self.of("lb-ft")

    @property
    def power(self) -> str:
        """The unit of power."""
        return self.of("hp")

    def field(self, name: str, value: object) -> str:
        """Return a field of a build with its unit, for a person to read."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        if not isinstance(value, int | float):
            return str(value)
        unit = FIELDS[name].unit if name in FIELDS else "in3"
        digits = ".4g" if isinstance(value, float) else "d"
        if self.of(unit) != unit:
            return f"{self.shown(float(value), unit):.4g} {self.of(unit)}"
        return f"{value:{digits}} {unit}".rstrip()
