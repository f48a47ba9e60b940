"""The field dictionary: every field of a dyno sheet, defined once.

The reader, the checks, the pandera schemas, the build template and the table in the README all
take a field's unit, limits and choices from here.

The limits are wide on purpose. They refuse the impossible (a bore of 99 inches), not the rare.
They are common practice, no source.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from pullbook.schemas.field import Field, Kind, Role

if TYPE_CHECKING:
    from collections.abc import Mapping


def _text(name: str, role: Role, meaning: str, *, required: bool = False) -> Field:
    return Field(name, Kind.TEXT, role, meaning, required=required)


def _number(
    name: str, meaning: str, unit: str, low: float, high: float, *, required: bool = False
) -> Field:
    return Field(name, Kind.NUMBER, Role.BUILD, meaning, unit, low, high, required=required)


def _whole(name: str, meaning: str, low: int, high: int, *, required: bool = False) -> Field:
    return Field(name, Kind.WHOLE, Role.BUILD, meaning, "", low, high, required=required)


def _choice(
    name: str, meaning: str, *choices: str, role: Role = Role.BUILD, required: bool = False
) -> Field:
    return Field(name, Kind.CHOICE, role, meaning, choices=choices, required=required)


def _flag(name: str, meaning: str, role: Role) -> Field:
    return Field(name, Kind.FLAG, role, meaning)


def _weather(name: str, meaning: str, unit: str, low: float, high: float) -> Field:
    return Field(name, Kind.NUMBER, Role.TEST, meaning, unit, low, high)


_CRANK = "crank deg"
_STANDARDS = ("observed", "SAE J1349", "SAE J607", "DIN 70020", "ISO 1585")
#: How a contributed sheet came to the reference condition: by its weather, or a nominal ratio.
ROUTES = EXACT, NOMINAL = ("exact", "nominal")

_TABLE = (
    _text("sheet_id", Role.IDENTITY, "name of the sheet"),
    _text("shop", Role.IDENTITY, "name of the shop that tested; shared only as a code"),
    _text("family", Role.IDENTITY, "engine family, in your own words"),
    _text(
        "engine",
        Role.IDENTITY,
        "which engine was on the stand, in your own words; shared only as a code",
    ),
    _whole("cylinders", "number of cylinders", 1, 24, required=True),
    _choice("arrangement", "cylinder arrangement", "inline", "vee", "flat"),
    _number("bore", "cylinder bore", "in", 1, 9),
    _number("stroke", "crankshaft stroke", "in", 0.8, 12),
    _number(
        "displacement",
        "displacement of all cylinders, where bore or stroke is not known",
        "in3",
        0.6,
        18500,
    ),
    _number("rod_length", "connecting rod length, centre to centre", "in", 1.5, 24),
    _number("compression_ratio", "static compression ratio", ":1", 4, 20),
    _whole("valves_per_cylinder", "valves per cylinder", 2, 5),
    _choice(
        "lifter",
        "lifter or cam type",
        "hydraulic flat tappet",
        "solid flat tappet",
        "hydraulic roller",
        "solid roller",
        "overhead cam",
    ),
    _number("intake_duration", "intake duration at 0.050 in lift", _CRANK, 120, 340),
    _number("exhaust_duration", "exhaust duration at 0.050 in lift", _CRANK, 120, 350),
    _number("intake_duration_seat", "advertised intake duration", _CRANK, 170, 400),
    _number("exhaust_duration_seat", "advertised exhaust duration", _CRANK, 170, 410),
    _number("lobe_separation", "lobe separation angle", "cam deg", 85, 135),
    _number("intake_centerline", "intake centerline after top dead centre", _CRANK, 75, 140),
    _number("intake_lift", "intake lift at the valve", "in", 0.1, 1.2),
    _number("exhaust_lift", "exhaust lift at the valve", "in", 0.1, 1.2),
    _number("intake_valve", "intake valve head diameter", "in", 0.5, 4),
    _number("exhaust_valve", "exhaust valve head diameter", "in", 0.4, 3.5),
    _number("port_csa", "smallest cross-section of the intake port", "in2", 0.2, 10),
    _number("port_volume", "intake port volume", "cc", 10, 900),
    _number("intake_flow", "intake port flow at 28 inH2O, full lift", "cfm", 15, 800),
    _number("exhaust_flow", "exhaust port flow at 28 inH2O, full lift", "cfm", 10, 600),
    _choice(
        "intake_type",
        "intake manifold type",
        "dual plane",
        "single plane",
        "tunnel ram",
        "individual runner",
        "long runner",
        "short runner",
    ),
    _number("runner_length", "intake runner length", "in", 0.5, 60),
    _choice(
        "fuel_metering",
        "carburetor or fuel injection",
        "carburetor",
        "throttle-body injection",
        "port injection",
        "direct injection",
    ),
    _number("airflow", "carburetor or throttle flow at 1.5 inHg, all barrels", "cfm", 20, 4000),
    _choice("aspiration", "type of aspiration", "natural", "supercharged", "turbocharged"),
    _number("boost", "peak boost, gauge pressure", "psi", 0, 80),
    _choice(
        "exhaust_type", "manifold or header", "cast manifold", "shorty header", "long-tube header"
    ),
    _number("primary_diameter", "header primary diameter", "in", 0.5, 4),
    _number("primary_length", "header primary length", "in", 3, 100),
    _flag("muffled", "exhaust muffled", Role.BUILD),
    _choice("fuel", "fuel burned", "gasoline", "e85", "methanol", "propane"),
    _number("octane", "octane, (R+M)/2", "AKI", 50, 135),
    _number("timing", "total ignition timing before top dead centre", _CRANK, 0, 75),
    _choice("water_pump", "water pump drive", "mechanical", "electric", role=Role.TEST),
    _flag("accessories", "front accessories driven during the pull", Role.TEST),
    _choice("dyno", "engine or chassis dyno", "engine", "chassis", role=Role.TEST),
    _choice(
        "correction",
        "correction standard of the torque and power figures",
        *_STANDARDS,
        role=Role.TEST,
        required=True,
    ),
    _weather("air_temperature", "inlet air temperature", "degF", -60, 150),
    _weather("barometer", "station pressure, not reduced to sea level", "inHg", 14, 33),
    _weather(
        "elevation",
        "elevation of the dyno, to check the barometer; never shared",
        "ft",
        -1500,
        15000,
    ),
    _weather("relative_humidity", "relative humidity", "%", 0, 100),
    _weather("coolant_temperature", "coolant temperature", "degF", 0, 300),
    _weather("oil_temperature", "oil temperature", "degF", 0, 400),
    _weather("sweep_rate", "sweep rate; 0 for a step test", "rpm/s", 0, 3000),
    Field("tested_on", Kind.DATE, Role.TEST, "test date; only the year is shared"),
    _text("notes", Role.TEST, "free text; never shared"),
    _text(
        "measured",
        Role.IDENTITY,
        "sheet ID or path of the sheet on which this engine was measured before parts were changed"
        " (builds only)",
    ),
    _choice(
        "stated_correction",
        "standard that the shop's own sheet was in (contributed sheets only)",
        *_STANDARDS,
        role=Role.TEST,
    ),
    _choice(
        "correction_route",
        "how the sheet was brought to SAE J1349, exactly or by a nominal ratio (contributed sheets"
        " only)",
        *ROUTES,
        role=Role.TEST,
    ),
)

#: Every field by name, in the order of the sheet.
FIELDS: Mapping[str, Field] = MappingProxyType({field.name: field for field in _TABLE})

#: The columns of a pull.
PULL_FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        field.name: field
        for field in (
            Field("rpm", Kind.NUMBER, Role.TEST, "engine speed", "rpm", 100, 25000, required=True),
            Field("torque", Kind.NUMBER, Role.TEST, "torque", "lb-ft", 0.1, 10000),
            Field("power", Kind.NUMBER, Role.TEST, "power", "hp", 0.01, 20000),
            Field("pull", Kind.WHOLE, Role.TEST, "number of the pull", "", 0, 10000),
        )
    }
)

#: Fields needed to correct observed numbers.
WEATHER_REQUIRED = ("air_temperature", "barometer")

#: Fields that describe the engine, in the order of the sheet.
BUILD_FIELDS = tuple(field.name for field in _TABLE if field.role is Role.BUILD)

#: The weather of a pull: with a day and a height it tells where the dyno is.
WEATHER = (*WEATHER_REQUIRED, "relative_humidity")

#: Fields that never enter a data set.
_NOT_CURATED = ("notes", "elevation", "measured")

#: Fields that are never shared.
WITHHELD = (*_NOT_CURATED, *WEATHER)

#: The columns of curated builds that come from the sheet.
CURATED_FIELDS = tuple(name for name in FIELDS if name not in _NOT_CURATED)
