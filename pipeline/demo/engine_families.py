"""Invented engine families, and the builds that invented shops make of them.

Everything is drawn from a seeded generator. A build has the fields of a sheet and also hidden
values that no sheet has: how good its ports and chamber really are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.pipeline.demo import gas_exchange

if TYPE_CHECKING:
    from numpy.random import Generator

_IN = 0.0254


@dataclass(frozen=True, slots=True)
class Family:
    """An invented engine family; lengths in inches."""

    name: str
    arrangement: str
    cylinders: int
    bores: tuple[float, ...]
    strokes: tuple[float, ...]
    rod: float
    valves: int
    valve_ratio: float  # intake valve to bore
    lifters: tuple[str, ...]
    compression: float
    quality: float  # hidden: how well its ports flow
    burn: float  # hidden: how slowly its chamber burns
    friction: float  # hidden


_PUSHROD = ("hydraulic flat tappet", "solid flat tappet", "hydraulic roller", "solid roller")
_OHC = ("overhead cam",)

FAMILIES = (
    Family("petrel-six", "inline", 6, (3.875, 3.9, 3.935), (3.53, 3.75, 3.9), 6.0, 2, 0.485, _PUSHROD, 9.0, 0.93, 1.05, 1.0),
    Family("gannet-eight", "vee", 8, (4.0, 4.03, 4.06), (3.25, 3.48, 3.75), 5.7, 2, 0.495, _PUSHROD, 9.6, 1.0, 1.0, 1.0),
    Family("cormorant-eight", "vee", 8, (4.25, 4.31, 4.35), (3.76, 4.0, 4.25), 6.3, 2, 0.5, _PUSHROD, 9.8, 0.97, 1.03, 1.05),
    Family("plover-four", "inline", 4, (3.4, 3.44), (3.0, 3.15, 3.4), 5.5, 2, 0.47, _OHC, 9.3, 0.98, 1.0, 0.95),
    Family("sandpiper-four", "inline", 4, (3.35, 3.39), (3.1, 3.39), 5.4, 4, 0.385, _OHC, 10.2, 1.04, 0.9, 1.02),
    Family("avocet-six", "vee", 6, (3.5, 3.55, 3.74), (3.2, 3.35), 5.8, 4, 0.38, _OHC, 10.3, 1.02, 0.92, 1.0),
    Family("eider-eight", "vee", 8, (3.78, 3.9, 4.0), (3.27, 3.62), 6.1, 2, 0.515, _PUSHROD[2:], 10.3, 1.06, 0.95, 0.96),
    Family("shearwater-six", "inline", 6, (3.2, 3.25), (3.6, 3.8), 6.6, 2, 0.48, _PUSHROD[:3], 8.6, 0.9, 1.1, 1.0),
    Family("dunlin-four", "flat", 4, (3.62, 3.7, 3.78), (2.72, 2.95), 5.2, 2, 0.43, _PUSHROD[:2], 8.4, 0.9, 1.06, 0.97),
    Family("merganser-eight", "vee", 8, (3.75, 3.8, 3.9), (3.0, 3.3, 3.8), 6.2, 2, 0.475, _PUSHROD[:3], 8.8, 0.92, 1.06, 1.04),
    Family("whimbrel-six", "vee", 6, (3.74, 3.8, 3.9), (3.4, 3.48, 3.9), 5.9, 2, 0.49, _PUSHROD, 9.2, 0.96, 1.02, 1.03),
    Family("turnstone-three", "inline", 3, (3.0, 3.1), (3.2, 3.4), 5.2, 4, 0.39, _OHC, 10.0, 1.0, 0.94, 1.02),
)  # fmt: skip


@dataclass(slots=True)
class Build:
    """One invented engine: the fields of its sheet, and hidden values."""

    values: dict[str, Any]  # field name -> value in the field's own unit
    family: Family
    quality: float
    burn: float
    friction: float
    back_pressure: float


def draw(family: Family, rng: Generator, ambition: float) -> Build:
    """Draw a build of a family.

    Parameters
    ----------
    family
        The engine family.
    rng
        Random generator.
    ambition
        From 0 (a workboat that idles all day) to 1 (a river racer); parts follow it loosely.

    """
    v: dict[str, Any] = {"family": family.name, "cylinders": family.cylinders}
    wild = float(np.clip(ambition + rng.normal(0, 0.12), 0, 1))
    v["arrangement"] = family.arrangement
    v["bore"] = float(rng.choice(family.bores))
    v["stroke"] = float(rng.choice(family.strokes))
    v["rod_length"] = round(family.rod + float(rng.choice([-0.1, 0.0, 0.0, 0.2])), 3)
    v["compression_ratio"] = round(
        family.compression + 1.6 * (wild - 0.35) + rng.normal(0, 0.35), 1
    )
    v["valves_per_cylinder"] = family.valves
    _camshaft(v, family, rng, wild)
    quality = _head(v, family, rng, wild)
    _induction(v, family, rng, wild)
    _exhaust(v, rng, wild)
    _rest(v, rng)
    muffled = 1.0 + 1.5 * (v["muffled"] == "yes") + 1.2 * (v["exhaust_type"] == "cast manifold")
    return Build(
        v,
        family,
        quality,
        family.burn * float(np.exp(rng.normal(0, 0.01))),
        family.friction * float(np.exp(rng.normal(0, 0.015))),
        7e3 * muffled * float(np.exp(rng.normal(0, 0.08))),
    )


def _camshaft(v: dict[str, Any], family: Family, rng: Generator, wild: float) -> None:
    lifter = str(rng.choice(family.lifters))
    roller = "roller" in lifter or family.valves == 4
    v["lifter"] = lifter
    v["intake_duration"] = int(round((198 + 52 * wild + rng.normal(0, 5)) / 2) * 2)
    v["exhaust_duration"] = v["intake_duration"] + int(rng.choice([0, 0, 4, 6, 8, 10]))
    ramp = (48 if roller else 56) + rng.normal(0, 3)
    v["intake_duration_seat"] = round(v["intake_duration"] + ramp)
    v["exhaust_duration_seat"] = round(v["exhaust_duration"] + ramp)
    v["lobe_separation"] = float(round(114 - 5 * wild + rng.normal(0, 1.6)))
    v["intake_centerline"] = v["lobe_separation"] - float(rng.choice([0, 2, 4, 4, 4, 6]))
    valve = v["bore"] * family.valve_ratio
    v["intake_lift"] = round(
        valve * (0.205 + 0.06 * wild + (0.02 if roller else 0)) + rng.normal(0, 0.012), 3
    )
    v["exhaust_lift"] = round(v["intake_lift"] + float(rng.choice([0, 0, 0.01, 0.02])), 3)


def _head(v: dict[str, Any], family: Family, rng: Generator, wild: float) -> float:
    """Draw the cylinder head; return its hidden quality."""
    valve = v["bore"] * (family.valve_ratio + 0.02 * wild) + rng.normal(0, 0.015)
    v["intake_valve"] = round(valve, 2)
    v["exhaust_valve"] = round(valve * (0.79 + rng.normal(0, 0.015)), 2)
    quality = family.quality * (0.94 + 0.14 * wild) * float(np.exp(rng.normal(0, 0.035)))
    count = family.valves // 2
    seat = count * np.pi / 4 * (0.87 * valve) ** 2
    v["port_csa"] = round(seat * (0.83 + 0.2 * wild) * float(np.exp(rng.normal(0, 0.06))), 2)
    length = 4.2 + 0.35 * v["bore"]
    v["port_volume"] = round(
        v["port_csa"] * length * 16.387 * float(np.exp(rng.normal(0.08, 0.03)))
    )
    curtain = count * np.pi * valve * v["intake_lift"] * 0.78
    effective = quality / np.sqrt(1 / curtain**2 + 1 / seat**2 + 0.35 / v["port_csa"] ** 2)
    bench = float(np.exp(rng.normal(0, 0.02)))  # no two flow benches agree
    v["intake_flow"] = round(float(146 * effective * 0.98 * bench))
    ratio = (v["exhaust_valve"] / valve) ** 2 * 1.18
    v["exhaust_flow"] = round(float(v["intake_flow"] * ratio * np.exp(rng.normal(0, 0.04))))
    return quality


def _induction(v: dict[str, Any], family: Family, rng: Generator, wild: float) -> None:
    kinds: tuple[str, ...]
    injected = family.valves == 4 or rng.random() < 0.25
    if injected:
        kinds, weights = (
            ("long runner", "short runner", "individual runner"),
            np.array([0.55 - 0.3 * wild, 0.35, 0.1 + 0.2 * wild]),
        )
        v["fuel_metering"] = str(
            rng.choice(["port injection", "throttle-body injection"], p=[0.85, 0.15])
        )
    else:
        kinds, weights = (
            ("dual plane", "single plane", "tunnel ram", "individual runner"),
            np.array([0.75 - 0.45 * wild, 0.2 + 0.3 * wild, 0.02 + 0.08 * wild, 0.05]),
        )
        v["fuel_metering"] = "carburetor"
    v["intake_type"] = str(rng.choice(kinds, p=weights / weights.sum()))
    typical = {
        "dual plane": 6.5,
        "single plane": 4.5,
        "tunnel ram": 7.0,
        "individual runner": 5.5,
        "long runner": 15.0,
        "short runner": 8.0,
    }
    v["runner_length"] = round(typical[v["intake_type"]] * float(np.exp(rng.normal(0, 0.14))), 1)
    size = np.pi / 4 * v["bore"] ** 2 * v["stroke"] * v["cylinders"]
    v["airflow"] = int(
        round(size * (1.45 + 0.7 * wild) * float(np.exp(rng.normal(0, 0.13))) / 10) * 10
    )
    v["aspiration"], v["boost"] = "natural", None
    if rng.random() < 0.05:
        v["aspiration"] = str(rng.choice(["supercharged", "turbocharged"]))
        v["boost"] = round(float(rng.uniform(4, 10)), 1)
        v["compression_ratio"] = round(v["compression_ratio"] - 1.2, 1)


def _exhaust(v: dict[str, Any], rng: Generator, wild: float) -> None:
    weights = np.array([0.5 - 0.4 * wild, 0.28, 0.22 + 0.4 * wild])
    v["exhaust_type"] = str(
        rng.choice(
            ["cast manifold", "shorty header", "long-tube header"], p=weights / weights.sum()
        )
    )
    v["primary_diameter"] = v["primary_length"] = None
    if v["exhaust_type"] != "cast manifold":
        per = np.pi / 4 * v["bore"] ** 2 * v["stroke"]
        diameter = 1.62 * (per / 43.0) ** 0.4 * (0.96 + 0.12 * wild) + rng.normal(0, 0.05)
        v["primary_diameter"] = round(diameter * 8) / 8
        v["primary_length"] = float(
            round(rng.normal(14, 2) if "shorty" in v["exhaust_type"] else rng.normal(32, 4))
        )
    v["muffled"] = "yes" if rng.random() < 0.55 - 0.35 * wild else "no"


def _rest(v: dict[str, Any], rng: Generator) -> None:
    pick = rng.random()
    v["fuel"] = "gasoline" if pick < 0.94 else ("e85" if pick < 0.98 else "propane")
    octane = {
        "gasoline": float(rng.choice([87, 89, 91, 93, 93, 100])),
        "e85": 105.0,
        "propane": 104.0,
    }
    v["octane"] = octane[v["fuel"]]
    v["timing"] = float(round(33 + rng.normal(0, 2)))
    v["water_pump"] = str(rng.choice(["mechanical", "electric"], p=[0.7, 0.3]))
    v["accessories"] = "yes" if rng.random() < 0.25 else "no"


def cases(builds: list[Build], speeds: list[np.ndarray]) -> gas_exchange.Cases:
    """Return the cases of every build at its speeds, build after build."""
    columns: dict[str, list[np.ndarray]] = {}
    for build, rpm in zip(builds, speeds, strict=True):
        for name, value in _physical(build).items():
            columns.setdefault(name, []).append(np.full(len(rpm), float(value)))
        columns.setdefault("rpm", []).append(np.asarray(rpm, dtype=float))
    return gas_exchange.Cases(**{name: np.concatenate(parts) for name, parts in columns.items()})


def _opening(duration: float, lift: float, shape: float, check: float) -> float:
    """Return the full opening of a lobe from its duration at a check height, crank degrees."""
    return duration / math.pow(1.0 - math.pow(check / lift, 1.0 / shape), 1.0 / 2.2)


def _physical(build: Build) -> dict[str, float]:
    v, family = build.values, build.family
    roller = "roller" in v["lifter"] or family.valves == 4
    shape = 1.25 if roller else 1.5
    rocker = 1.0 if family.valves == 4 else 1.5
    check = 0.050 * rocker
    kind = v["intake_type"]
    header = v["exhaust_type"] != "cast manifold"
    diameter = v["primary_diameter"] or 1.7
    fuel = {"gasoline": (2.40e6, 0.0), "e85": (2.47e6, -9.0), "propane": (2.36e6, 4.0)}[v["fuel"]]
    psi = v["boost"] or 0.0
    warm = {"supercharged": 7.5, "turbocharged": 6.0}.get(v["aspiration"], 0.0) * psi
    exhaust_center = 2 * v["lobe_separation"] - v["intake_centerline"]
    return {
        "bore": v["bore"] * _IN,
        "stroke": v["stroke"] * _IN,
        "rod": v["rod_length"] * _IN,
        "compression": v["compression_ratio"],
        "cylinders": v["cylinders"],
        "intake_open": _opening(v["intake_duration"], v["intake_lift"], shape, check),
        "intake_center": v["intake_centerline"],
        "intake_lift": v["intake_lift"] * _IN,
        "intake_shape": shape,
        "intake_diameter": v["intake_valve"] * _IN,
        "intake_valves": family.valves // 2,
        "intake_quality": build.quality,
        "exhaust_open": _opening(v["exhaust_duration"], v["exhaust_lift"], shape, check),
        "exhaust_center": exhaust_center,
        "exhaust_lift": v["exhaust_lift"] * _IN,
        "exhaust_diameter": v["exhaust_valve"] * _IN,
        "exhaust_valves": family.valves // 2,
        "exhaust_quality": build.quality * 1.05,
        "port_area": v["port_csa"] * _IN**2,
        "port_volume": v["port_volume"] * 1e-6,
        "runner_length": v["runner_length"] * _IN,
        "shared_plenum": {
            "dual plane": 0.6,
            "single plane": 0.35,
            "tunnel ram": 0.15,
            "individual runner": 0.0,
            "long runner": 0.3,
            "short runner": 0.3,
        }[kind],
        "throttle_area": v["airflow"] * 6.1e-6 * (0.82 if kind == "dual plane" else 1.0),
        "primary_area": np.pi / 4 * (diameter * _IN) ** 2,
        "primary_length": ((v["primary_length"] or 30.0) if header else 7.0) * _IN + 0.08,
        "back_pressure": build.back_pressure,
        "boost": psi * 6895.0,
        "drive_loss": 0.011 * psi if v["aspiration"] == "supercharged" else 0.0,
        "charge_kelvin": 312.0
        + warm
        + fuel[1]
        + (6.0 if kind in ("dual plane", "long runner") else 0.0),
        "energy": fuel[0] * (0.985 if v["fuel_metering"] == "throttle-body injection" else 1.0),
        "octane": v["octane"],
        "spark_retard": 0.35 * abs(v["timing"] - 33.0),
        "burn": build.burn,
        "friction": build.friction,
        "pumps": v["cylinders"]
        * (0.9 + 0.5 * (v["water_pump"] == "mechanical") + 0.9 * (v["accessories"] == "yes")),
    }
