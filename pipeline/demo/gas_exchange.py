"""Gas flow through valves, runner and primary: one step of the simulated engine's cycle."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


GAS = 287.0


CV = 820.0


GAMMA = 1.0 + GAS / CV


ATMOSPHERE = 100.3e3


EXHAUST_KELVIN = 950.0


@dataclass(slots=True)
class Cases:
    """Engines at speeds; every array has shape (cases,).

    Lengths in m, areas in m2, volumes in m3, angles in crank degrees, pressure in Pa.
    """

    rpm: Array
    bore: Array
    stroke: Array
    rod: Array
    compression: Array
    cylinders: Array
    intake_open: Array  # crank degrees from first to last lift
    intake_center: Array  # after gas-exchange top dead centre
    intake_lift: Array
    lobe_shape: Array  # how full the lobes are
    intake_diameter: Array
    intake_valves: Array
    intake_quality: Array
    exhaust_open: Array
    exhaust_center: Array  # before gas-exchange top dead centre
    exhaust_lift: Array
    exhaust_diameter: Array
    exhaust_valves: Array
    exhaust_quality: Array
    port_area: Array
    port_volume: Array
    runner_length: Array
    bends: Array  # loss of the runner's bends and mouth, velocity heads
    wet: Array  # share of the fuel that is not ready to burn when the charge stands still
    throttle_area: Array  # effective, all barrels
    primary_area: Array
    primary_length: Array
    back_pressure: Array  # Pa at 0.1 kg/s
    boost: Array
    drive_loss: Array  # share of the power that drives a supercharger
    charge_kelvin: Array
    energy: Array  # J released a kg of mixture
    octane: Array
    knock: Array  # compression that the chamber stands more than others
    spark_retard: Array  # crank degrees from the best
    burn: Array  # relative burn duration of the chamber
    heat: Array  # relative heat to the walls
    friction: Array
    pumps: Array  # N.m of belt-driven drag at 5000 rpm

    def __len__(self) -> int:
        return len(self.rpm)

    def rows(self, keep: slice) -> Cases:
        """Return some of the cases."""
        return Cases(**{f.name: getattr(self, f.name)[keep] for f in fields(self)})


@dataclass(slots=True)
class State:
    """The state that changes from step to step; every array has shape (cases,)."""

    mass: Array
    kelvin: Array
    burned: Array
    port_mass: Array
    port_burned: Array
    runner: Array
    exhaust_mass: Array
    primary: Array

    def round(self) -> None:
        """Round every part to seven digits.

        When pressures are nearly equal, the flow reverses from step to step. The last bit of a
        double, which differs between processors, would then grow until it shows on a sheet.
        """
        for part in fields(self):
            single = getattr(self, part.name).astype(np.float32)
            setattr(self, part.name, single.astype(np.float64))


def lift_at(degrees: Array, center: Array, opening: Array, peak: Array, shape: Array) -> Array:
    """Return valve lift at crank angles for a lobe that is open for ``opening`` degrees."""
    away = np.abs((degrees - center + 360.0) % 720.0 - 360.0)
    inside = np.clip(1.0 - (2.0 * away / opening) ** 2.2, 0.0, None)
    lift: Array = peak * inside**shape
    return lift


def _orifice(area: Array, p_up: Array, t_up: Array, p_down: Array) -> Array:
    """Return the mass flow through an area from the higher to the lower pressure, kg/s."""
    ratio = np.clip(p_down / p_up, 0.53, 1.0)
    root = np.exp(np.log(ratio) / 7.0)  # of the seventh degree; powers take much longer
    squared = root * root
    fourth = squared * squared
    bracket = np.maximum(fourth * fourth * squared * (1.0 - squared), 0.0)
    flow: Array = area * p_up * np.sqrt(7.0 * bracket / (GAS * t_up))
    return flow


def _valve_area(lift: Array, diameter: Array, count: Array, throat: Array, quality: Array) -> Array:
    curtain = np.pi * diameter * lift * 0.78
    seat = 0.25 * np.pi * (0.87 * diameter) ** 2
    single = 1.0 / np.sqrt(
        1.0 / (curtain + 1e-9) ** 2 + 1.0 / seat**2 + 0.35 / (throat / count) ** 2
    )
    area: Array = quality * count * single
    return area


@dataclass(slots=True)
class Valves:
    """The flow areas of both valves through the cycle, m2; shape (steps, cases)."""

    intake: Array
    exhaust: Array


def valves(c: Cases, angles: Array) -> Valves:
    """Return the flow areas at crank angles of the cycle; nothing of them depends on the gas."""
    degrees = angles[:, None]
    lift = lift_at(degrees, 360.0 + c.intake_center, c.intake_open, c.intake_lift, c.lobe_shape)
    intake = _valve_area(lift, c.intake_diameter, c.intake_valves, c.port_area, c.intake_quality)
    lift = lift_at(degrees, 360.0 - c.exhaust_center, c.exhaust_open, c.exhaust_lift, c.lobe_shape)
    throat = 0.8 * c.port_area
    return Valves(
        intake,
        _valve_area(lift, c.exhaust_diameter, c.exhaust_valves, throat, c.exhaust_quality),
    )


def exchange(
    c: Cases,
    s: State,
    openings: tuple[Array, Array],
    pressure: Array,
    plenum: Array,
    dt: Array,
    exhaust: Array,
) -> Array:
    """Move gas through both valves for one step; return the fresh mass that came in, kg.

    ``openings`` are the areas of `Valves` at this step.
    """
    opening, outlet = openings
    port = s.port_mass * GAS * c.charge_kelvin / c.port_volume
    inward = port > pressure
    flow = _orifice(
        opening,
        np.where(inward, port, pressure),
        np.where(inward, c.charge_kelvin, s.kelvin),
        np.where(inward, pressure, port),
    )
    moved = np.clip(flow * dt, 0.0, 0.2 * np.where(inward, s.port_mass, s.mass))
    came = np.where(inward, moved, 0.0)
    went = moved - came
    _mix(s, came, c.charge_kelvin, s.port_burned)
    s.kelvin = s.kelvin * (1.0 - (GAMMA - 1.0) * went / s.mass)
    s.mass = s.mass - went
    s.port_burned = (s.port_burned * s.port_mass + went * s.burned) / (s.port_mass + went)
    s.port_mass = s.port_mass + went - came

    manifold = s.exhaust_mass * GAS * EXHAUST_KELVIN / exhaust
    outward = pressure > manifold
    flow = _orifice(
        outlet,
        np.where(outward, pressure, manifold),
        np.where(outward, s.kelvin, EXHAUST_KELVIN),
        np.where(outward, manifold, pressure),
    )
    moved = np.clip(flow * dt, 0.0, 0.2 * np.where(outward, s.mass, s.exhaust_mass))
    left = np.where(outward, moved, 0.0)
    back = moved - left
    _mix(s, back, np.full(len(c), EXHAUST_KELVIN), np.ones(len(c)))
    s.kelvin = s.kelvin * (1.0 - (GAMMA - 1.0) * left / s.mass)
    s.mass = s.mass - left
    s.exhaust_mass = s.exhaust_mass + left - back
    settle(c, s, plenum, dt, exhaust)
    fresh: Array = (came - went) * (1.0 - s.port_burned)
    return fresh


def _mix(s: State, came: Array, kelvin: Array, burned: Array) -> None:
    """Mix inflowing gas into the cylinder: its enthalpy is added to the energy."""
    total = s.mass + came
    s.kelvin = (s.mass * s.kelvin + GAMMA * came * kelvin) / total
    s.burned = (s.mass * s.burned + came * burned) / total
    s.mass = total


def settle(c: Cases, s: State, plenum: Array, dt: Array, exhaust: Array) -> None:
    """Move the gas columns of runner and primary for one step."""
    density = plenum / (GAS * c.charge_kelvin)
    port = s.port_mass * GAS * c.charge_kelvin / c.port_volume
    length = c.runner_length + 0.09
    push = (plenum - port) / (density * length)
    drag = (0.9 + c.bends) * s.runner * np.abs(s.runner) / (2.0 * length)
    s.runner = np.clip(s.runner + (push - drag) * dt, -180.0, 180.0)
    moved = np.clip(
        density * c.port_area * 1.12 * s.runner * dt, -0.2 * s.port_mass, 0.3 * s.port_mass
    )
    s.port_burned = np.where(
        moved > 0, s.port_burned * s.port_mass / (s.port_mass + moved), s.port_burned
    )
    s.port_mass = s.port_mass + moved

    hot = ATMOSPHERE / (GAS * EXHAUST_KELVIN)
    manifold = s.exhaust_mass * GAS * EXHAUST_KELVIN / exhaust
    leaving = hot * c.primary_area * s.primary
    outlet = (
        ATMOSPHERE + c.back_pressure * (np.maximum(leaving, 0.0) * c.cylinders / 0.25) ** 2 / 4.0
    )
    push = (manifold - outlet) / (hot * c.primary_length)
    drag = 1.6 * s.primary * np.abs(s.primary) / (2.0 * c.primary_length)
    s.primary = np.clip(s.primary + (push - drag) * dt, -420.0, 420.0)
    moved = np.clip(
        hot * c.primary_area * s.primary * dt, -0.2 * s.exhaust_mass, 0.3 * s.exhaust_mass
    )
    s.exhaust_mass = s.exhaust_mass - moved
