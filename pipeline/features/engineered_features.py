"""Engineered features: the engine quantities of the trade and the handbooks, from a sheet's fields.

Each feature is a function of the table of builds; `FEATURES` gives its formula, unit and source.
Lengths are inches and angles crank degrees, as in the field dictionary. A feature with a missing
input is missing (NaN), which the model can handle. Features that are proportional to engine speed
are stored per rev/min, so that one table serves every speed.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullbook.pipeline.physics import engine_quantities
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import BUILD_FIELDS, CURATED_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    Column = NDArray[np.float64]
    Columns = Mapping[str, Column]

#: Speed of sound in the intake, ft/s, at about 25 degC (Heywood, appendix C, from memory).
_SOUND = 1135.0
#: Speed of sound in a hot primary, ft/s, at about 650 degC: common practice, no source.
_HOT_SOUND = 1950.0
#: Mean inlet flow coefficient over the lift, if no flow was measured (Taylor, The Internal
#: Combustion Engine in Theory and Practice, vol. 1, ch. 6, from memory).
_FLOW_COEFFICIENT = 0.35
#: Flow, cfm at 28 inH2O, of an ideal opening of one square inch: 1096.7 sqrt(28 / 0.075) / 144
#: ft/min, fan engineers' velocity formula (ACGIH Industrial Ventilation, from memory).
_IDEAL_CFM = 147.2
_ATMOSPHERE_PSI = 14.696
_ROD_RATIO = 1.65  # if no rod length is given: common practice, no source
_ADVANCE = 4.0  # crank degrees that cams are ground ahead of split overlap: common practice


@dataclass(frozen=True, slots=True)
class Feature:
    """One feature.

    Attributes
    ----------
    name
        Name of its column.
    unit
        Its unit; for a speed feature the unit of its value at an rpm.
    formula
        The formula in words.
    source
        Source of the formula.
    of
        The function of the table's columns.
    per_rpm
        Whether ``of`` returns the value per rev/min.
    """

    name: str
    unit: str
    formula: str
    source: str
    of: Callable[[Columns], Column]
    per_rpm: bool = False


def _size(c: Columns) -> Column:
    return np.asarray(engine_quantities.size_of(c).engine)


def _cylinder(c: Columns) -> Column:
    return np.asarray(engine_quantities.size_of(c).cylinder)


def _intake_valves(c: Columns) -> Column:
    """Return the intake valves per cylinder: 1 of 2, 2 of 3 or 4, 3 of 5."""
    return np.where(np.isnan(c["valves_per_cylinder"]), 1.0, np.ceil(c["valves_per_cylinder"] / 2))


def _centerline(c: Columns) -> Column:
    given = c["intake_centerline"]
    return np.where(np.isnan(given), c["lobe_separation"] - _ADVANCE, given)


def _overlap(c: Columns) -> Column:
    return (c["intake_duration"] + c["exhaust_duration"]) / 2 - 2 * c["lobe_separation"]


def _closing(c: Columns) -> Column:
    return _centerline(c) + c["intake_duration"] / 2 - 180


def _closing_seat(c: Columns) -> Column:
    return _centerline(c) + c["intake_duration_seat"] / 2 - 180


def _exhaust_opening(c: Columns) -> Column:
    exhaust_center = 2 * c["lobe_separation"] - _centerline(c)
    return exhaust_center + c["exhaust_duration"] / 2 - 180


def _dynamic_compression(c: Columns) -> Column:
    """Return the compression ratio over the stroke that is left when the intake closes."""
    closing = np.where(np.isnan(_closing_seat(c)), _closing(c) + 25, _closing_seat(c))
    throw = c["stroke"] / 2
    rod = np.where(np.isnan(c["rod_length"]), _ROD_RATIO * c["stroke"], c["rod_length"])
    angle = np.deg2rad(180 + closing)
    down = throw * (1 - np.cos(angle)) + rod - np.sqrt(rod**2 - (throw * np.sin(angle)) ** 2)
    return np.asarray(1 + (c["compression_ratio"] - 1) * down / c["stroke"])


def _valve_area(c: Columns) -> Column:
    return _intake_valves(c) * np.pi / 4 * c["intake_valve"] ** 2


def _effective_area(c: Columns) -> Column:
    """Return the mean effective intake area, in2: from the flow bench, or from the valve."""
    bench = c["intake_flow"] / _IDEAL_CFM * 0.72
    return np.where(np.isnan(bench), _FLOW_COEFFICIENT * _valve_area(c) * 0.9, bench)


def _piston_area(c: Columns) -> Column:
    return np.pi / 4 * c["bore"] ** 2


def _piston_speed(c: Columns) -> Column:
    """Return the mean piston speed in ft/min per rev/min."""
    return c["stroke"] / 6


def _mach_index(c: Columns) -> Column:
    return _piston_area(c) / _effective_area(c) * _piston_speed(c) / 60 / _SOUND


def _port_velocity(c: Columns) -> Column:
    return _piston_area(c) / c["port_csa"] * _piston_speed(c) / 60


def _pressure_ratio(c: Columns) -> Column:
    return 1 + np.nan_to_num(c["boost"]) / _ATMOSPHERE_PSI


def _octane_compression(c: Columns) -> Column:
    """Return the octane per unit of effective compression ratio."""
    return c["octane"] / (_dynamic_compression(c) * _pressure_ratio(c))


def _airflow_demand(c: Columns) -> Column:
    return _size(c) * _pressure_ratio(c) / 3456 / c["airflow"]


def _helmholtz(c: Columns) -> Column:
    """Return the rev/min at which runner and cylinder at half stroke resonate (Engelman)."""
    middle = _cylinder(c) * (0.5 + 1 / (c["compression_ratio"] - 1))
    hertz = _SOUND * 12 / (2 * np.pi) * np.sqrt(c["port_csa"] / (c["runner_length"] * middle))
    return 60 * hertz / 2.1


def _quarter_wave(c: Columns) -> Column:
    """Return the rev/min at which the fourth reflection in the runner meets the next intake."""
    return 120 * _SOUND * 12 / (4 * c["runner_length"]) / 4


def _primary_tuning(c: Columns) -> Column:
    """Return the rev/min at which the reflected blow-down pulse arrives at overlap."""
    degrees = 180 + _exhaust_opening(c)
    return degrees / 6 * _HOT_SOUND * 12 / (2 * c["primary_length"])


_PRACTICE = "common practice, no source"
_HEYWOOD = "Heywood, Internal Combustion Engine Fundamentals, ch. 2, from memory"
_GEOMETRY = "geometry"

_TABLE = (
    Feature("displacement", "in3", "pi/4 bore^2 stroke cylinders", _HEYWOOD, _size),
    Feature("cylinder_displacement", "in3", "pi/4 bore^2 stroke", _HEYWOOD, _cylinder),
    Feature("bore_stroke", "", "bore / stroke", _HEYWOOD, lambda c: c["bore"] / c["stroke"]),
    Feature("rod_ratio", "", "rod length / stroke", _HEYWOOD, lambda c: c["rod_length"] / c["stroke"]),
    Feature("overlap", "crank deg", "(intake + exhaust duration) / 2 - 2 lobe separation, at 0.050 in", _GEOMETRY, _overlap),
    Feature("intake_closing", "crank deg", "intake centerline + duration / 2 - 180; centerline lobe separation - 4 where not given", _GEOMETRY, _closing),
    Feature("exhaust_opening", "crank deg", "exhaust centerline + duration / 2 - 180, before bottom dead centre", _GEOMETRY, _exhaust_opening),
    Feature("dynamic_compression", ":1", "compression over the stroke left after intake closing; rod 1.65 stroke where not given", _PRACTICE, _dynamic_compression),
    Feature("lift_diameter", "", "intake lift / intake valve", _HEYWOOD, lambda c: c["intake_lift"] / c["intake_valve"]),
    Feature("valve_area_share", "", "intake valve area / piston area", _HEYWOOD, lambda c: _valve_area(c) / _piston_area(c)),
    Feature("exhaust_intake_flow", "", "exhaust flow / intake flow", _PRACTICE, lambda c: c["exhaust_flow"] / c["intake_flow"]),
    Feature("exhaust_intake_valve", "", "exhaust valve / intake valve", _PRACTICE, lambda c: c["exhaust_valve"] / c["intake_valve"]),
    Feature("port_csa_size", "1/in", "port cross-section / cylinder displacement", _PRACTICE, lambda c: c["port_csa"] / _cylinder(c)),
    Feature("port_volume_size", "cc/in3", "port volume / cylinder displacement", _PRACTICE, lambda c: c["port_volume"] / _cylinder(c)),
    Feature("flow_size", "cfm/in3", "intake flow / cylinder displacement", _PRACTICE, lambda c: c["intake_flow"] / _cylinder(c)),
    Feature("flow_coefficient", "", "intake flow / (147.2 cfm/in2 x intake valve area)", "ACGIH Industrial Ventilation, velocity formula, from memory", lambda c: c["intake_flow"] / (_IDEAL_CFM * _valve_area(c))),
    Feature("airflow_size", "cfm/in3", "carburetor or throttle flow / displacement", _PRACTICE, lambda c: c["airflow"] / _size(c)),
    Feature("header_area", "1/in", "pi/4 primary diameter^2 / cylinder displacement", _PRACTICE, lambda c: np.pi / 4 * c["primary_diameter"] ** 2 / _cylinder(c)),
    Feature("pressure_ratio", "", "1 + boost / 14.696 psi; no boost given means 1", _PRACTICE, _pressure_ratio),
    Feature("octane_compression", "AKI", "octane / (dynamic compression x pressure ratio)", _PRACTICE, _octane_compression),
    Feature("piston_speed", "ft/min", "2 stroke rpm", _HEYWOOD, _piston_speed, per_rpm=True),
    Feature("mach_index", "", "piston area / mean inlet opening x piston speed / speed of sound; opening 0.35 x 0.9 valve area where no flow is given", "Taylor, The Internal Combustion Engine in Theory and Practice, vol. 1, ch. 6, from memory", _mach_index, per_rpm=True),
    Feature("port_velocity", "ft/s", "piston area / port cross-section x piston speed", _PRACTICE, _port_velocity, per_rpm=True),
    Feature("airflow_demand", "", "displacement rpm / 3456 / carburetor or throttle flow", _PRACTICE, _airflow_demand, per_rpm=True),
    Feature("runner_helmholtz", "", "rpm / (60 / 2.1 x a / (2 pi) sqrt(port cross-section / (runner length x cylinder volume at half stroke)))", "Engelman's resonator, after Heywood ch. 7, from memory", lambda c: 1 / _helmholtz(c), per_rpm=True),
    Feature("runner_wave", "", "rpm / (120 a / (4 runner length) / 4)", "organ pipe; fourth echo is common practice, no source", lambda c: 1 / _quarter_wave(c), per_rpm=True),
    Feature("primary_wave", "", "rpm / (degrees from exhaust opening to overlap / 6 x a / (2 primary length))", _PRACTICE, lambda c: 1 / _primary_tuning(c), per_rpm=True),
)  # fmt: skip

#: Every engineered feature by name.
FEATURES: Mapping[str, Feature] = MappingProxyType({f.name: f for f in _TABLE})
#: Features that are proportional to engine speed.
PER_RPM = tuple(f.name for f in _TABLE if f.per_rpm)
#: Fields that are used unchanged beside the features. Sizes are used as ratios instead, so that
#: what is learned at one displacement holds at another.
_AS_THEY_ARE = tuple(
    name
    for name in (*BUILD_FIELDS, "water_pump", "accessories", "dyno")
    if name
    not in (
        "boost",
        "port_volume",
        "intake_flow",
        "exhaust_flow",
        "airflow",
        "aspiration",
        engine_quantities.DISPLACEMENT,
    )
)
#: Choices as whole numbers, in the order of the field dictionary.
CATEGORIES = tuple(n for n in (*_AS_THEY_ARE, "aspiration") if FIELDS[n].kind is Kind.CHOICE)


_CHOICES = {
    name: {choice: float(at) for at, choice in enumerate(FIELDS[name].choices)}
    for name in CURATED_FIELDS
    if FIELDS[name].kind is Kind.CHOICE
}


def numbers(builds: pd.DataFrame) -> dict[str, Column]:
    """Return every number, flag and choice as floats, shape (builds,) each; missing is NaN.

    Choices become their position in the field dictionary, flags 0 and 1.
    """
    columns: dict[str, Column] = {}
    for name in CURATED_FIELDS:
        field = FIELDS[name]
        if field.kind is Kind.CHOICE:
            places, given = _CHOICES[name], builds[name].to_numpy(dtype=object)
            columns[name] = np.array([places.get(one, np.nan) for one in given], dtype=float)
        elif field.numeric or field.kind is Kind.FLAG:
            columns[name] = builds[name].to_numpy(dtype=float, na_value=np.nan)
    columns[engine_quantities.DISPLACEMENT] = _size(columns)
    return columns


def engineer(columns: Columns) -> pd.DataFrame:
    """Return the table of features, one row per build.

    Parameters
    ----------
    columns
        Fields as floats, as `numbers` returns them; missing ones may have been filled.

    Returns
    -------
    Columns of `FEATURES` first (speed features per rev/min), then the unchanged fields.

    """
    with np.errstate(divide="ignore", invalid="ignore"):
        made = {name: np.asarray(feature.of(columns)) for name, feature in FEATURES.items()}
    made |= {name: columns[name] for name in (*_AS_THEY_ARE, "aspiration")}
    table = pd.DataFrame(made)
    return table.replace([np.inf, -np.inf], np.nan)
