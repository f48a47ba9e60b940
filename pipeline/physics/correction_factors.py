"""Correction standards as pure functions of the weather, and conversion to the reference.

The observed torque times a standard's factor is the torque in the standard's condition. To bring a
stated torque to the reference condition, its factor is divided out with the weather of the sheet
and the reference's factor applied; without the weather a nominal ratio is used.

The formulas are from memory of the standards named with them; where the text of a standard differs
from this file, the standard is right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from pullbook.pipeline.physics import humid_air

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

_KELVIN = 273.15
#: Relative humidity assumed on a sheet with temperature and pressure but without humidity, %.
ASSUMED_HUMIDITY = 50.0
#: The standard of all curated numbers.
REFERENCE = "SAE J1349"
#: The correction of numbers as they were read.
OBSERVED = "observed"
#: Relative standard deviation of a torque corrected by a nominal ratio. Weather changes the ratio
#: of two standards' factors by about this much over a year: common practice, no source.
NOMINAL_SD = 0.01
#: From chassis to flywheel torque: nominal driveline efficiency, and its relative standard
#: deviation. Common practice, no source.
CHASSIS_EFFICIENCY = 0.85
CHASSIS_SD = 0.03


@dataclass(frozen=True, slots=True)
class Weather:
    """The air an engine breathed.

    Attributes
    ----------
    celsius
        Inlet air temperature, degC.
    pressure
        Station pressure, kPa.
    humidity
        Relative humidity, %.
    """

    celsius: float
    pressure: float
    humidity: float = ASSUMED_HUMIDITY

    @property
    def kelvin(self) -> float:
        """Inlet air temperature, K."""
        return self.celsius + _KELVIN

    @property
    def dry(self) -> float:
        """Pressure of the dry air, kPa."""
        return humid_air.dry_pressure(self.pressure, self.celsius, self.humidity)


@dataclass(frozen=True, slots=True)
class Standard:
    """A correction standard.

    Attributes
    ----------
    factor
        Factor on observed torque for a naturally aspirated spark-ignition engine.
    reference
        The weather at which the factor is 1.
    celsius, pressure
        Range of air temperature (degC) and pressure (kPa) that the standard is valid for.
    limits
        Range of the factor itself that the standard allows; ``None`` without a limit.
    source
        Source of the formula.
    """

    factor: Callable[[Weather], float]
    reference: Weather
    celsius: tuple[float, float]
    pressure: tuple[float, float]
    limits: tuple[float, float] | None
    source: str

    def covers(self, weather: Weather) -> bool:
        """Return whether the weather is in the range of the standard."""
        inside = self.celsius[0] <= weather.celsius <= self.celsius[1]
        inside &= self.pressure[0] <= weather.pressure <= self.pressure[1]
        if self.limits is not None:
            inside &= self.limits[0] <= self.factor(weather) <= self.limits[1]
        return inside


def sae_j1349(weather: Weather) -> float:
    """Return the factor of SAE J1349 for dry air at 99 kPa and 25 degC.

    Friction, 15 % of the torque, does not depend on the weather: hence 1.18 and 0.18.
    """
    return 1.18 * (99.0 / weather.dry) * math.sqrt(weather.kelvin / 298.15) - 0.18


def sae_j607(weather: Weather) -> float:
    """Return the factor of SAE J607 for dry air at 29.92 inHg and 60 degF."""
    return (101.325 / weather.dry) * math.sqrt(weather.kelvin / 288.71)


def din_70020(weather: Weather) -> float:
    """Return the factor of DIN 70020 for 1013 mbar and 20 degC; humidity is not used."""
    return (101.3 / weather.pressure) * math.sqrt(weather.kelvin / 293.15)


def iso_1585(weather: Weather) -> float:
    """Return the factor of ISO 1585 for spark ignition, dry air at 99 kPa and 25 degC."""
    return math.pow(99.0 / weather.dry, 1.2) * math.pow(weather.kelvin / 298.15, 0.6)


STANDARDS: Mapping[str, Standard] = MappingProxyType(
    {
        "SAE J1349": Standard(
            sae_j1349,
            Weather(25.0, 99.0, 0.0),
            (15.0, 35.0),
            (90.0, 105.0),
            (0.93, 1.07),
            "SAE J1349, revision of 2004, from memory",
        ),
        "SAE J607": Standard(
            sae_j607,
            Weather(15.56, 101.325, 0.0),
            (-10.0, 50.0),
            (80.0, 106.0),
            None,
            "SAE J607, withdrawn, from memory; the range is common practice, no source",
        ),
        "DIN 70020": Standard(
            din_70020,
            Weather(20.0, 101.3, 0.0),
            (-10.0, 50.0),
            (80.0, 106.0),
            None,
            "DIN 70020 part 6, 1976, from memory; the range is common practice, no source",
        ),
        "ISO 1585": Standard(
            iso_1585,
            Weather(25.0, 99.0, 0.0),
            (15.0, 35.0),
            (80.0, 110.0),
            (0.93, 1.07),
            "ISO 1585:1992, from memory",
        ),
    }
)

#: The weather of a nominal ratio: temperature and dry pressure of the reference, 50 % humidity.
_NOMINAL = Weather(25.0, 99.0 + 0.5 * humid_air.saturation_pressure(25.0), 50.0)


def factor(standard: str, weather: Weather) -> float:
    """Return the factor of a standard; it is 1 for observed numbers.

    Raises
    ------
    KeyError
        The standard is not known.

    """
    return 1.0 if standard == OBSERVED else STANDARDS[standard].factor(weather)


def to_reference(stated: str, weather: Weather | None) -> float:
    """Return the factor from a torque in some correction to the reference condition.

    Parameters
    ----------
    stated
        The correction of the torque.
    weather
        The weather of the sheet; ``None`` if not known.

    Raises
    ------
    ValueError
        The torque is as observed, and the weather is not known.

    Examples
    --------
    >>> round(to_reference("SAE J607", None), 3)
    0.961

    """
    if weather is None and stated == OBSERVED:
        msg = "observed torque cannot be corrected without the weather"
        raise ValueError(msg)
    at = weather or _NOMINAL
    return factor(REFERENCE, at) / factor(stated, at)
