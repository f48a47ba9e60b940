"""Builds that invented shops make of engine families, drawn part by part.

A build has the fields of a sheet and also hidden values that no sheet has: how good its ports and
chamber really are. Each part can be drawn anew, for an engine that is tested again with another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.random import Generator

    from pullbook.pipeline.demo.engine_families import Family

#: Height at which duration is stated, in; at the follower.
CHECK = 0.050
CAST = "cast manifold"


@dataclass(slots=True)
class Build:
    """One invented engine: the fields of its sheet, and hidden values."""

    values: dict[str, Any]  # field name -> value in the field's own unit
    family: Family
    quality: float
    burn: float
    friction: float
    pipe: float  # what its exhaust system resists, relative to others of its kind


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
    v["lifter"] = str(rng.choice(family.lifters))
    build = Build(
        v,
        family,
        quality=family.hidden.quality,
        burn=family.hidden.burn * float(np.exp(rng.normal(0, 0.01))),
        friction=family.hidden.friction * float(np.exp(rng.normal(0, 0.015))),
        pipe=float(np.exp(rng.normal(0, 0.08))),
    )
    draw_camshaft(build, rng, wild)
    draw_head(build, rng, wild)
    _draw_fuel_system(build, rng)
    draw_intake(build, rng, wild)
    draw_airflow(build, rng, wild)
    _draw_boost(build, rng)
    draw_exhaust(build, rng, wild)
    v["muffled"] = "yes" if rng.random() < 0.55 - 0.35 * wild else "no"
    _draw_fuel(v, rng)
    v["water_pump"] = str(rng.choice(["mechanical", "electric"], p=[0.7, 0.3]))
    v["accessories"] = "yes" if rng.random() < 0.25 else "no"
    return build


def rolls(build: Build) -> bool:
    """Return whether the cam works on rollers or straight on the valves: its lobes are fuller."""
    return "roller" in build.values["lifter"] or build.family.valves == 4


def draw_camshaft(build: Build, rng: Generator, wild: float) -> None:
    """Draw a camshaft for the lifters that are in the engine."""
    v, family = build.values, build.family
    v["intake_duration"] = int(round((198 + 52 * wild + rng.normal(0, 5)) / 2) * 2)
    v["exhaust_duration"] = v["intake_duration"] + int(rng.choice([0, 0, 4, 6, 8, 10]))
    ramp = (48 if rolls(build) else 56) + rng.normal(0, 3)
    v["intake_duration_seat"] = round(v["intake_duration"] + ramp)
    v["exhaust_duration_seat"] = round(v["exhaust_duration"] + ramp)
    v["lobe_separation"] = float(round(114 - 5 * wild + rng.normal(0, 1.6)))
    v["intake_centerline"] = v["lobe_separation"] - float(rng.choice([0, 2, 4, 4, 4, 6]))
    valve = v["bore"] * family.valve_ratio
    v["intake_lift"] = round(
        valve * (0.205 + 0.06 * wild + (0.02 if rolls(build) else 0)) + rng.normal(0, 0.012), 3
    )
    v["exhaust_lift"] = round(v["intake_lift"] + float(rng.choice([0, 0, 0.01, 0.02])), 3)


def draw_head(build: Build, rng: Generator, wild: float) -> None:
    """Draw the cylinder head, and how well it really flows."""
    v, family = build.values, build.family
    valve = v["bore"] * (family.valve_ratio + 0.02 * wild) + rng.normal(0, 0.015)
    v["intake_valve"] = round(valve, 2)
    v["exhaust_valve"] = round(valve * (0.79 + rng.normal(0, 0.015)), 2)
    build.quality = (
        family.hidden.quality * (0.94 + 0.14 * wild) * float(np.exp(rng.normal(0, 0.035)))
    )
    count = family.valves // 2
    seat = count * np.pi / 4 * (0.87 * valve) ** 2
    v["port_csa"] = round(seat * (0.83 + 0.2 * wild) * float(np.exp(rng.normal(0, 0.06))), 2)
    length = 4.2 + 0.35 * v["bore"]
    v["port_volume"] = round(
        v["port_csa"] * length * 16.387 * float(np.exp(rng.normal(0.08, 0.03)))
    )
    curtain = count * np.pi * valve * v["intake_lift"] * 0.78
    effective = build.quality / np.sqrt(1 / curtain**2 + 1 / seat**2 + 0.35 / v["port_csa"] ** 2)
    bench = float(np.exp(rng.normal(0, 0.02)))  # no two flow benches agree
    v["intake_flow"] = round(float(146 * effective * 0.98 * bench))
    ratio = (v["exhaust_valve"] / valve) ** 2 * 1.18
    v["exhaust_flow"] = round(float(v["intake_flow"] * ratio * np.exp(rng.normal(0, 0.04))))


def _draw_fuel_system(build: Build, rng: Generator) -> None:
    injected = build.family.valves == 4 or rng.random() < 0.25
    build.values["fuel_metering"] = (
        str(rng.choice(["port injection", "throttle-body injection"], p=[0.85, 0.15]))
        if injected
        else "carburetor"
    )


_RUNNERS = {
    "dual plane": 6.5,
    "single plane": 4.5,
    "tunnel ram": 7.0,
    "individual runner": 5.5,
    "long runner": 15.0,
    "short runner": 8.0,
}


def draw_intake(build: Build, rng: Generator, wild: float) -> None:
    """Draw an intake manifold that takes the fuel system of the engine."""
    v = build.values
    kinds: tuple[str, ...]
    if v["fuel_metering"] == "carburetor":
        kinds = ("dual plane", "single plane", "tunnel ram", "individual runner")
        weights = np.array([0.75 - 0.45 * wild, 0.2 + 0.3 * wild, 0.05 + 0.15 * wild, 0.05])
    else:
        kinds = ("long runner", "short runner", "individual runner")
        weights = np.array([0.55 - 0.3 * wild, 0.35, 0.1 + 0.2 * wild])
    v["intake_type"] = str(rng.choice(kinds, p=weights / weights.sum()))
    v["runner_length"] = round(_RUNNERS[v["intake_type"]] * float(np.exp(rng.normal(0, 0.14))), 1)


def draw_airflow(build: Build, rng: Generator, wild: float) -> None:
    """Draw a carburettor or throttle body about as large as the engine asks for."""
    v = build.values
    size = np.pi / 4 * v["bore"] ** 2 * v["stroke"] * v["cylinders"]
    wanted = size * (1.45 + 0.7 * wild) * float(np.exp(rng.normal(0, 0.13)))
    v["airflow"] = int(round(wanted / 10) * 10)


def _draw_boost(build: Build, rng: Generator) -> None:
    v = build.values
    v["aspiration"], v["boost"] = "natural", None
    if rng.random() < 0.05:
        v["aspiration"] = str(rng.choice(["supercharged", "turbocharged"]))
        v["boost"] = round(float(rng.uniform(4, 10)), 1)
        v["compression_ratio"] = round(v["compression_ratio"] - 1.2, 1)


def draw_exhaust(build: Build, rng: Generator, wild: float) -> None:
    """Draw a cast manifold or a header."""
    v = build.values
    weights = np.array([0.5 - 0.4 * wild, 0.28, 0.22 + 0.4 * wild])
    kinds = (CAST, "shorty header", "long-tube header")
    v["exhaust_type"] = str(rng.choice(kinds, p=weights / weights.sum()))
    v["primary_diameter"] = v["primary_length"] = None
    if v["exhaust_type"] != CAST:
        per = np.pi / 4 * v["bore"] ** 2 * v["stroke"]
        diameter = 1.62 * (per / 43.0) ** 0.4 * (0.96 + 0.12 * wild) + rng.normal(0, 0.05)
        v["primary_diameter"] = round(diameter * 8) / 8
        v["primary_length"] = float(
            round(rng.normal(14, 2) if "shorty" in v["exhaust_type"] else rng.normal(32, 4))
        )


def _draw_fuel(v: dict[str, Any], rng: Generator) -> None:
    v["fuel"] = str(rng.choice(["gasoline", "e85", "propane"], p=[0.94, 0.04, 0.02]))
    pump = float(rng.choice([87, 89, 91, 93, 93, 100]))
    v["octane"] = {"gasoline": pump, "e85": 105.0, "propane": 104.0}[v["fuel"]]
    v["timing"] = float(round(33 + rng.normal(0, 2)))
