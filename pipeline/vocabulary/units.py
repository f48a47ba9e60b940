"""Units: convert a number with the unit written on a sheet into the unit of its field.

Pint does the conversion. This module knows how units are spelled on dyno sheets, and which
spelling means torque and not energy, or force and not mass.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping


class UnknownUnitError(InputError):
    """The text is not a known unit."""


class WrongUnitError(InputError):
    """The unit is known but measures another quantity."""


#: Units of the field dictionary, as pint spells them.
_OF_FIELD: Mapping[str, str] = MappingProxyType(
    {
        "in": "inch",
        "in2": "inch**2",
        "ft": "foot",
        "in3": "inch**3",
        "cc": "centimeter**3",
        "cfm": "foot**3/minute",
        "psi": "psi",
        "crank deg": "degree",
        "cam deg": "degree",
        "degF": "degF",
        "inHg": "inch_Hg",
        "%": "percent",
        "rpm": "revolution/minute",
        "rpm/s": "revolution/minute/second",
        "lb-ft": "foot*force_pound",
        "hp": "horsepower",
        ":1": "dimensionless",
        "AKI": "dimensionless",
        "": "dimensionless",
    }
)

_TORQUE = "newton*meter"
_LBFT = "foot*force_pound"
_VOLUMES = MappingProxyType(
    {"cc": "centimeter**3", "ccm": "centimeter**3", "cm3": "centimeter**3", "ml": "milliliter",
     "l": "liter", "lit": "liter", "litre": "liter", "litres": "liter", "liter": "liter",
     "liters": "liter", "in3": "inch**3", "cuin": "inch**3", "ci": "inch**3", "cid": "inch**3",
     "inch3": "inch**3", "cubes": "inch**3", "cuinch": "inch**3", "cubicinch": "inch**3",
     "cubicinches": "inch**3"}
)  # fmt: skip
#: Customary spellings, as `_squash` returns them, by the unit of the field.
_SPELLINGS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "in": {"in": "inch", '"': "inch", "inch": "inch", "inches": "inch", "mm": "millimeter",
               "cm": "centimeter", "m": "meter", "ft": "foot"},
        "ft": {"ft": "foot", "'": "foot", "feet": "foot", "m": "meter", "masl": "meter"},
        "in2": {"in2": "inch**2", "sqin": "inch**2", "squarein": "inch**2", "inch2": "inch**2",
                "mm2": "millimeter**2", "sqmm": "millimeter**2", "cm2": "centimeter**2",
                "sqcm": "centimeter**2"},
        "in3": _VOLUMES,
        "cc": _VOLUMES,
        "cfm": {"cfm": "foot**3/minute", "ft3/min": "foot**3/minute", "l/s": "liter/second",
                "lps": "liter/second", "l/min": "liter/minute", "m3/h": "meter**3/hour",
                "m3/min": "meter**3/minute"},
        "psi": {"psi": "psi", "psig": "psi", "lbs": "psi", "lb": "psi", "pounds": "psi",
                "bar": "bar", "kpa": "kilopascal", "mbar": "millibar", "hpa": "hectopascal",
                "inhg": "inch_Hg"},
        "crank deg": {"deg": "degree", "degree": "degree", "degrees": "degree", "°": "degree",
                      "crankdeg": "degree", "crankdegrees": "degree", "degca": "degree",
                      "degatdc": "degree", "degbtdc": "degree", "°atdc": "degree",
                      "°btdc": "degree", "atdc": "degree", "btdc": "degree", "total": "degree",
                      "degtotal": "degree", "°total": "degree", "rad": "radian"},
        "cam deg": {"deg": "degree", "degree": "degree", "degrees": "degree", "°": "degree",
                    "camdeg": "degree", "camdegrees": "degree", "rad": "radian"},
        "degF": {"f": "degF", "°f": "degF", "degf": "degF", "fahrenheit": "degF", "c": "degC",
                 "°c": "degC", "degc": "degC", "celsius": "degC", "k": "kelvin",
                 "kelvin": "kelvin", "degreesf": "degF", "degreesc": "degC", "\u2103": "degC",
                 "\u2109": "degF", "gradc": "degC", "grad": "degC"},
        "inHg": {"inhg": "inch_Hg", "hg": "inch_Hg", "psia": "psi", '"hg': "inch_Hg",
                 "in": "inch_Hg", '"': "inch_Hg", "inches": "inch_Hg", "inchhg": "inch_Hg",
                 "inchesofmercury": "inch_Hg", "hpa": "hectopascal",
                 "hectopascal": "hectopascal", "mbar": "millibar", "millibar": "millibar",
                 "mb": "millibar", "kpa": "kilopascal", "mmhg": "millimeter_Hg",
                 "mmofmercury": "millimeter_Hg", "torr": "millimeter_Hg", "bar": "bar",
                 "psi": "psi", "pa": "pascal", "atm": "atmosphere"},
        "%": {"%": "percent", "percent": "percent", "pct": "percent", "rh": "percent",
              "%rh": "percent", "fraction": "dimensionless"},
        "rpm": {"rpm": "revolution/minute", "1/min": "revolution/minute",
                "rev/min": "revolution/minute", "r/min": "revolution/minute",
                "u/min": "revolution/minute", "upm": "revolution/minute",
                "tr/min": "revolution/minute", "giri/min": "revolution/minute",
                "t/min": "revolution/minute", "revs/min": "revolution/minute",
                "min1": "revolution/minute", "rps": "revolution/second",
                "rad/s": "radian/second", "hz": "revolution/second"},
        "rpm/s": {"rpm/s": "revolution/minute/second", "rpm/sec": "revolution/minute/second",
                  "rpmps": "revolution/minute/second", "rpm/min": "revolution/minute/minute"},
        "lb-ft": {"lbft": _LBFT, "lbsft": _LBFT, "ftlb": _LBFT, "ftlbs": _LBFT, "lbfft": _LBFT,
                  "ftlbf": _LBFT, "footpounds": _LBFT, "poundfeet": _LBFT, "ft/lb": _LBFT,
                  "ft/lbs": _LBFT, "lb/ft": _LBFT, "lbs/ft": _LBFT, "lbin": "inch*force_pound",
                  "inlb": "inch*force_pound", "nm": _TORQUE, "newtonmeter": _TORQUE,
                  "newtonmeters": _TORQUE, "newtonmetre": _TORQUE, "newtonmetres": _TORQUE,
                  "danm": "decanewton*meter", "knm": "kilonewton*meter",
                  "kgm": "force_kilogram*meter", "mkg": "force_kilogram*meter",
                  "kgfm": "force_kilogram*meter", "kpm": "force_kilogram*meter",
                  "mkp": "force_kilogram*meter", "mkgf": "force_kilogram*meter",
                  "mkilopond": "force_kilogram*meter"},
        "hp": {"hp": "horsepower", "bhp": "horsepower", "kw": "kilowatt", "w": "watt",
               "ps": "metric_horsepower", "cv": "metric_horsepower", "ch": "metric_horsepower",
               "pk": "metric_horsepower", "metrichp": "metric_horsepower",
               "cvm": "metric_horsepower", "dinps": "metric_horsepower",
               "psdin": "metric_horsepower", "pferdestärken": "metric_horsepower",
               "pferdestarken": "metric_horsepower", "hpmetric": "metric_horsepower"},
        ":1": {":1": "dimensionless", "to1": "dimensionless", "/1": "dimensionless"},
        "AKI": {"aki": "dimensionless", "(r+m)/2": "dimensionless"},
        "": {},
    }
)  # fmt: skip

#: How units are written in messages.
_TIDY: Mapping[str, str] = MappingProxyType(
    {
        "inch": "in", "millimeter": "mm", "centimeter": "cm", "meter": "m", "foot": "ft",
        "degF": "degF", "degC": "degC", "kelvin": "K", "inch_Hg": "inHg", "hectopascal": "hPa",
        "millibar": "mbar", "kilopascal": "kPa", "millimeter_Hg": "mmHg", "psi": "psi",
        "bar": "bar", _LBFT: "lb-ft", _TORQUE: "N.m", "force_kilogram*meter": "kgf.m",
        "horsepower": "hp", "kilowatt": "kW", "metric_horsepower": "PS", "centimeter**3": "cc",
        "liter": "l", "inch**3": "in3",
    }
)  # fmt: skip
#: The texts that are passed to pint: unit names with small whole powers, joined. Pint's own
#: grammar allows more, such as towers of powers that take forever to evaluate.
_NAME = r"[^\W\d_][^\W_]{0,23}(?:(?:\^|\*\*)[234])?"
_PARSABLE = re.compile(rf"(?:1\s*/\s*)?{_NAME}(?:\s*[./*·⋅ -]\s*{_NAME}){{0,3}}")
_JOINTS = re.compile(r"[\s.\-*·⋅_^]+")


def _squash(text: str) -> str:
    """Return a unit as `_SPELLINGS` lists it: lower case, no separators, plain powers."""
    plain = text.strip().replace("²", "2").replace("³", "3").replace("º", "°")
    return _JOINTS.sub("", plain).casefold()


def spelled(text: str, field_unit: str) -> bool:
    """Return whether a text is a customary spelling of a unit for fields in ``field_unit``.

    >>> spelled("ft.lbs.", "lb-ft"), spelled("lambda", "lb-ft")
    (True, False)
    """
    return _squash(text) in _SPELLINGS[field_unit]


def tidy(text: str, field_unit: str) -> str:
    """Return a unit as messages write it.

    >>> tidy("Nm", "lb-ft"), tidy("°C", "degF"), tidy("inHg", "inHg")
    ('N.m', 'degC', 'inHg')
    """
    return _TIDY.get(_SPELLINGS.get(field_unit, {}).get(_squash(text), ""), text.strip())


@cache
def _registry() -> Any:
    import pint  # noqa: PLC0415 - half the cost of starting; only foreign units need it

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@lru_cache(maxsize=4096)
def scale(text: str | None, field_unit: str) -> tuple[float, float]:
    """Return slope and offset of the conversion from a unit to the unit of the field.

    All conversions are affine. ``None`` means the unit of the field.

    Raises
    ------
    UnknownUnitError, WrongUnitError
        As for `convert`.

    """
    if text is None or _squash(text) == _squash(field_unit):
        return 1.0, 0.0
    name = _SPELLINGS[field_unit].get(_squash(text))
    plain = _OF_FIELD[field_unit] in ("percent", "dimensionless")  # a pure number is no humidity
    if name is None and (plain or not _PARSABLE.fullmatch(text.strip())):
        msg = f"{text!r} is not a known unit"
        raise UnknownUnitError(msg)
    import pint  # noqa: PLC0415

    registry = _registry()
    target = _OF_FIELD[field_unit]
    try:
        zero = registry.Quantity(0.0, name or text.strip()).to(target).magnitude
        one = registry.Quantity(1.0, name or text.strip()).to(target).magnitude
    except pint.DimensionalityError as error:
        msg = f"{text!r} does not convert to {field_unit or 'a plain number'}"
        raise WrongUnitError(msg) from error
    except Exception as error:  # the parser of pint raises errors of many kinds
        msg = f"{text!r} is not a known unit"
        raise UnknownUnitError(msg) from error
    return one - zero, zero


def known(text: str, field_unit: str) -> bool:
    """Return whether a text is a unit for fields in ``field_unit``."""
    try:
        scale(text, field_unit)
    except (UnknownUnitError, WrongUnitError):
        return False
    return True


def convert(number: float, unit: str | None, field_unit: str) -> float:
    """Return a number in the unit of the field.

    Parameters
    ----------
    number
        The number as written.
    unit
        The unit as written; ``None`` means the unit of the field.
    field_unit
        The unit of the field, as in the field dictionary.

    Raises
    ------
    UnknownUnitError
        The text is not a known unit.
    WrongUnitError
        The unit measures another quantity.

    Examples
    --------
    >>> round(convert(99.06, "mm", "in"), 6)
    3.9
    >>> round(convert(24, "degC", "degF"), 6)
    75.2
    >>> round(convert(100, "N.m", "lb-ft"), 3)
    73.756

    """
    slope, offset = scale(unit, field_unit)
    return slope * number + offset
