"""The weather on a sheet, and the route of its numbers to the reference condition."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.physics import correction_factors, humid_air
from pullbook.schemas.fields import EXACT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.field import Value


class Route(NamedTuple):
    """How a sheet's torque is brought to the reference condition.

    Attributes
    ----------
    name
        ``weather``: exactly, with the weather; ``nominal``: with a nominal ratio; ``stated``: it
        was stated at the reference condition.
    factor
        Factor on the torque.
    sd
        Relative standard deviation that the route adds.
    """

    name: str
    factor: float
    sd: float


def station_pressure(elevation: float) -> float:
    """Return the pressure, inHg, of the standard atmosphere at an elevation in ft.

    ISO 2533 (ICAO standard atmosphere), troposphere, from memory.

    >>> round(station_pressure(5000), 2)
    24.9
    """
    return float(29.921 * (1 - 6.8756e-6 * elevation) ** 5.2559)


def _number(values: Mapping[str, Value], name: str) -> float | None:
    value = values.get(name)
    return float(value) if isinstance(value, int | float) else None


def weather_of(values: Mapping[str, Value]) -> correction_factors.Weather | None:
    """Return the weather of a sheet, or ``None`` if temperature or barometer is missing."""
    fahrenheit, inhg = _number(values, "air_temperature"), _number(values, "barometer")
    if fahrenheit is None or inhg is None:
        return None
    humidity = _number(values, "relative_humidity")
    return correction_factors.Weather(
        humid_air.celsius_of(fahrenheit),
        inhg * humid_air.KPA_PER_INHG,
        correction_factors.ASSUMED_HUMIDITY if humidity is None else humidity,
    )


def is_exact(values: Mapping[str, Value]) -> bool:
    """Return whether a sheet can be corrected, or was contributed, without a nominal ratio."""
    if (taken := values.get("correction_route")) is not None:
        return taken == EXACT
    return (
        values.get("correction") == correction_factors.REFERENCE or weather_of(values) is not None
    )


def route(values: Mapping[str, Value]) -> Route:
    """Return the route of an accepted sheet's torque to the reference condition.

    A contributed sheet is there already; its route says how it came there.
    """
    if values.get("correction_route") is not None:
        return _route_before(values)
    stated = str(values["correction"])
    at = weather_of(values)
    name = "weather" if at is not None else "nominal"
    if stated == correction_factors.REFERENCE:
        name, factor = "stated", 1.0
    else:
        factor = correction_factors.to_reference(stated, at)
    if values.get("dyno") == "chassis":
        factor /= correction_factors.CHASSIS_EFFICIENCY
    return Route(name, factor, _sd(name, values))


def _route_before(values: Mapping[str, Value]) -> Route:
    """Return the route that a sheet took when it was contributed."""
    name = "weather" if values["correction_route"] == EXACT else "nominal"
    if name == "weather" and values.get("stated_correction") == correction_factors.REFERENCE:
        name = "stated"
    return Route(name, 1.0, _sd(name, values))


def _sd(name: str, values: Mapping[str, Value]) -> float:
    variance = correction_factors.NOMINAL_SD**2 if name == "nominal" else 0.0
    if values.get("dyno") == "chassis":
        variance += correction_factors.CHASSIS_SD**2
    return float(variance**0.5)
