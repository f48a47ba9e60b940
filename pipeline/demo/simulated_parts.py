"""The parts of a build as the simulated engine takes them: SI units, and what no sheet shows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.demo.engine_builds import CAST, CHECK, rolls
from pullbook.pipeline.demo.gas_exchange import Cases

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.pipeline.demo.engine_builds import Build
    from pullbook.pipeline.demo.gas_exchange import Array

_IN = 0.0254
#: Injected there, fuel reaches the cylinder however slow the charge is.
_AT_THE_PORT = "port injection"


@dataclass(frozen=True, slots=True)
class _Intake:
    """What an intake manifold does to the charge."""

    bends: float  # loss of the runner, velocity heads
    wet: float  # share of the fuel that a slow charge does not carry
    reach: float  # share of the carburettor that one cylinder can draw on
    warmth: float  # how much it heats the charge, K


_INTAKES = {
    "dual plane": _Intake(0.7, 0.02, 0.7, 1.5),
    "single plane": _Intake(0.25, 0.17, 1.0, 1.0),
    "tunnel ram": _Intake(0.1, 0.30, 1.0, 0.0),
    "individual runner": _Intake(0.1, 0.12, 0.9, 0.0),
    "long runner": _Intake(0.3, 0.02, 1.0, 1.5),
    "short runner": _Intake(0.2, 0.06, 1.0, 0.0),
}


@dataclass(frozen=True, slots=True)
class _Fuel:
    energy: float  # J released a kg of mixture
    warmth: float  # K, against gasoline


_FUELS = {
    "gasoline": _Fuel(2.3e6, 0.0),
    "e85": _Fuel(2.37e6, -9.0),
    "propane": _Fuel(2.26e6, 4.0),
}


def cases(builds: Sequence[Build], speeds: Sequence[Array]) -> Cases:
    """Return the cases of every build at its speeds, rev/min, build after build."""
    columns: dict[str, list[Array]] = {}
    for build, rpm in zip(builds, speeds, strict=True):
        for name, value in _parts(build).items():
            columns.setdefault(name, []).append(np.full(len(rpm), float(value)))
        columns.setdefault("rpm", []).append(np.asarray(rpm, dtype=float))
    return Cases(**{name: np.concatenate(parts) for name, parts in columns.items()})


def _opening(duration: float, lift: float, shape: float, check: float) -> float:
    """Return the full opening of a lobe from its duration at a check height, crank degrees."""
    return duration / math.pow(1.0 - math.pow(check / lift, 1.0 / shape), 1.0 / 2.2)


def _parts(build: Build) -> dict[str, float]:
    v = build.values
    fuel = _FUELS[v["fuel"]]
    psi = v["boost"] or 0.0
    heating = {"supercharged": 7.5, "turbocharged": 6.0}.get(v["aspiration"], 0.0)
    intake = _INTAKES[v["intake_type"]]
    return {
        "bore": v["bore"] * _IN,
        "stroke": v["stroke"] * _IN,
        "rod": v["rod_length"] * _IN,
        "compression": v["compression_ratio"],
        "cylinders": v["cylinders"],
        **_valvetrain(build),
        **_heads(build),
        **_pipes(build),
        "bends": intake.bends,
        "wet": intake.wet * (v["fuel_metering"] != _AT_THE_PORT),
        "throttle_area": v["airflow"] * 6.1e-6 * intake.reach,
        "charge_kelvin": 312.0 + heating * psi + fuel.warmth + intake.warmth,
        "boost": psi * 6895.0,
        "drive_loss": 0.011 * psi if v["aspiration"] == "supercharged" else 0.0,
        "energy": fuel.energy * (0.985 if "throttle-body" in v["fuel_metering"] else 1.0),
        "octane": v["octane"],
        "knock": build.family.hidden.knock,
        "spark_retard": 0.35 * abs(v["timing"] - 33.0),
        "burn": build.burn,
        "heat": build.family.hidden.heat,
        "friction": build.friction,
        "pumps": v["cylinders"]
        * (0.9 + 0.5 * (v["water_pump"] == "mechanical") + 0.9 * (v["accessories"] == "yes")),
    }


def _valvetrain(build: Build) -> dict[str, float]:
    v = build.values
    shape = 1.25 if rolls(build) else 1.5
    check = CHECK * (1.0 if build.family.overhead_cam else 1.5)
    return {
        "intake_open": _opening(v["intake_duration"], v["intake_lift"], shape, check),
        "intake_center": v["intake_centerline"],
        "intake_lift": v["intake_lift"] * _IN,
        "lobe_shape": shape,
        "exhaust_open": _opening(v["exhaust_duration"], v["exhaust_lift"], shape, check),
        "exhaust_center": 2 * v["lobe_separation"] - v["intake_centerline"],
        "exhaust_lift": v["exhaust_lift"] * _IN,
    }


def _heads(build: Build) -> dict[str, float]:
    v = build.values
    each = build.family.valves // 2
    return {
        "intake_diameter": v["intake_valve"] * _IN,
        "intake_valves": each,
        "intake_quality": build.quality,
        "exhaust_diameter": v["exhaust_valve"] * _IN,
        "exhaust_valves": each,
        "exhaust_quality": build.quality * 1.05,
        "port_area": v["port_csa"] * _IN**2,
        "port_volume": v["port_volume"] * 1e-6,
    }


def _pipes(build: Build) -> dict[str, float]:
    v = build.values
    header = v["exhaust_type"] != CAST
    diameter = v["primary_diameter"] or 1.7
    resisted = 1.0 + 1.5 * (v["muffled"] == "yes") + 1.2 * (not header)
    return {
        "runner_length": v["runner_length"] * _IN,
        "primary_area": np.pi / 4 * (diameter * _IN) ** 2,
        "primary_length": (v["primary_length"] if header else 7.0) * _IN + 0.08,
        "back_pressure": 7e3 * resisted * build.pipe,
    }
