"""Humid air: vapour pressure and dry air pressure."""

from __future__ import annotations

import math

#: One conventional inch of mercury in kilopascal (NIST SP 811, appendix B.8).
KPA_PER_INHG = 3.386389


def saturation_pressure(celsius: float) -> float:
    """Return the saturation vapour pressure over water, kPa.

    Magnus form of the WMO Guide to Instruments and Methods of Observation (WMO-No. 8, annex 4.B),
    from memory; good to about 0.3 % between -20 and 50 degC.

    >>> round(saturation_pressure(25.0), 2)
    3.16
    """
    return 0.6112 * math.exp(17.62 * celsius / (243.12 + celsius))


def dry_pressure(total: float, celsius: float, relative_humidity: float) -> float:
    """Return the pressure of the dry air in humid air, kPa.

    Parameters
    ----------
    total
        Station pressure, kPa.
    celsius
        Air temperature, degC.
    relative_humidity
        Relative humidity, %.

    """
    return total - relative_humidity / 100 * saturation_pressure(celsius)


def celsius_of(fahrenheit: float) -> float:
    """Convert degrees Fahrenheit to degrees Celsius.

    >>> celsius_of(77)
    25.0
    """
    return (fahrenheit - 32) / 1.8


def fahrenheit_of(celsius: float) -> float:
    """Convert degrees Celsius to degrees Fahrenheit.

    >>> fahrenheit_of(25)
    77.0
    """
    return celsius * 1.8 + 32
