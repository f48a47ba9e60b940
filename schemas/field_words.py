"""Fields and their values in words, in inch or in metric units, for whatever a person reads.

>>> described("intake_duration", 230.0), described("bore", 4.0, metric=True)
('intake duration 230 deg', 'bore 101.6 mm')
>>> described("fuel_metering", "port injection"), with_unit("cylinder_displacement", 43.7)
('fuel metering port injection', '43.7 cu in')
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from pullbook.schemas.field import READ_UNITS
from pullbook.schemas.fields import FIELDS, PULL_FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Sizes that are worked out from other fields, and their units.
DERIVED_UNITS: Mapping[str, str] = MappingProxyType({"cylinder_displacement": "in3"})
#: For each unit of ours the metric one, what to multiply by, and what to subtract before. Exact by
#: the definitions of inch, foot and pound; inHg of 3386.389 Pa (NIST SP 811, from memory).
METRIC: Mapping[str, tuple[str, float, float]] = MappingProxyType(
    {
        "in": ("mm", 25.4, 0.0),
        "in2": ("cm2", 6.4516, 0.0),
        "in3": ("cc", 16.387064, 0.0),
        "ft": ("m", 0.3048, 0.0),
        "cfm": ("m3/min", 0.028316846592, 0.0),
        "psi": ("kPa", 6.894757293168361, 0.0),
        "inHg": ("kPa", 3.386389, 0.0),
        "degF": ("degC", 5 / 9, 32.0),
        "lb-ft": ("N.m", 1.3558179483314004, 0.0),
        "hp": ("kW", 0.7456998715822702, 0.0),
    }
)
#: Units as they are read; they are shorter where the field's name says the rest.
_READ = MappingProxyType({**READ_UNITS, "crank deg": "deg", "cam deg": "deg"})
_DIGITS = 4
#: Metric units of which three digits are as good as the inches they come from: a length from 20 to
#: 100 mm to 0.1 mm, a shorter one (a lift) to 0.01 mm.
_THREE_DIGITS = ("mm", "cm2", "m3/min")
_FINE, _COARSE = 20.0, 100.0


def spoken(name: str) -> str:
    """Return a field's name in words.

    >>> spoken("intake_duration"), spoken("cylinder_displacement")
    ('intake duration', 'cylinder displacement')
    """
    known = FIELDS.get(name) or PULL_FIELDS.get(name)
    return known.label if known is not None else name.replace("_", " ")


def unit_of(name: str, *, metric: bool = False) -> str:
    """Return the unit that a field is shown in; empty where it has none.

    >>> unit_of("lobe_separation"), unit_of("airflow", metric=True), unit_of("cylinders")
    ('deg', 'm3/min', '')
    """
    unit = _unit(name)
    if metric and unit in METRIC:
        return METRIC[unit][0]
    return _READ.get(unit, unit)


def in_units(name: str, value: float, *, metric: bool = False) -> float:
    """Return the value of a field, given in the field's own unit, in the unit it is shown in."""
    unit = _unit(name)
    if not metric or unit not in METRIC:
        return value
    _, factor, offset = METRIC[unit]
    return (value - offset) * factor


def with_unit(name: str, value: float, *, metric: bool = False, digits: int = _DIGITS) -> str:
    """Return the value of a field, or of a derived size, with its unit.

    Parameters
    ----------
    name
        The field, in the code's spelling.
    value
        In the field's own unit.
    metric
        Whether to show it in metric units.
    digits
        Significant digits.

    Examples
    --------
    >>> with_unit("compression_ratio", 9.5), with_unit("bore", 4.0), with_unit("cylinders", 8)
    ('9.5:1', '4 in', '8')
    >>> with_unit("intake_flow", 250.0, metric=True)
    '7.079 m3/min'

    """
    number = _number(in_units(name, value, metric=metric), digits)
    unit = unit_of(name, metric=metric)
    return number + (unit if not unit or unit.startswith(":") else f" {unit}")


def digits_of(name: str, value: float, *, metric: bool = False) -> int:
    """Return how many digits a value deserves: one turned into metric units no false ones.

    >>> digits_of("primary_diameter", 1.625, metric=True), digits_of("bore", 4.0, metric=True)
    (3, 4)
    """
    unit = _unit(name)
    if not metric or unit not in METRIC or METRIC[unit][0] not in _THREE_DIGITS:
        return _DIGITS
    here = abs(in_units(name, value, metric=True))
    return _DIGITS if unit == "in" and not _FINE < here < _COARSE else _DIGITS - 1


def described(name: str, value: float | str, *, metric: bool = False, digits: int = _DIGITS) -> str:
    """Return a field with its value: a number with its unit, a choice as written, yes or no."""
    if isinstance(value, bool):
        return f"{spoken(name)}: {'yes' if value else 'no'}"
    shown = (
        value if isinstance(value, str) else with_unit(name, value, metric=metric, digits=digits)
    )
    return f"{spoken(name)} {shown}"


class Described(NamedTuple):
    """A field with its value, to be put into words later, in either unit system."""

    field: str
    value: float | str
    digits: int = _DIGITS

    def worded(self, *, metric: bool) -> str:
        """Return the field with its value in words."""
        return described(self.field, self.value, metric=metric, digits=self.digits)


class Range(NamedTuple):
    """The lowest and the highest value of a field, to be put into words later."""

    field: str
    low: float
    high: float
    digits: int = _DIGITS

    def worded(self, *, metric: bool) -> str:
        """Return the range in words, with its unit once.

        >>> Range("bore", 3.0, 4.25).worded(metric=False)
        '3 to 4.25 in'
        """
        high = with_unit(self.field, self.high, metric=metric, digits=self.digits)
        if self.low == self.high:
            return high
        low = _number(in_units(self.field, self.low, metric=metric), self.digits)
        return f"{low} to {high}"


def digits_that_differ(one: float, other: float, least: int = _DIGITS) -> int:
    """Return the fewest significant digits, from ``least``, that tell two numbers apart.

    >>> digits_that_differ(12.5, 13.0), digits_that_differ(12.5, 12.50004)
    (4, 7)
    """
    for digits in range(least, 15):
        if f"{one:.{digits}g}" != f"{other:.{digits}g}":
            return digits
    return 15


def _number(value: float, digits: int) -> str:
    """Return a number with so many significant digits, and never with an exponent of ten.

    >>> _number(10019.4, 4), _number(4.0, 4)
    ('10020', '4')
    """
    return f"{float(f'{value:.{digits}g}'):.15g}"


def _unit(name: str) -> str:
    known = FIELDS.get(name) or PULL_FIELDS.get(name)
    return known.unit if known is not None else DERIVED_UNITS.get(name, "")
