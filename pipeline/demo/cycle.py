"""A stand-in for an engine: one cylinder's gas exchange and combustion by crank angle.

Filling and emptying with lumped gas inertia in the intake runner and the header primary,
compressible flow through the valves, two-zone-free Wiebe heat release with knock-limited phasing,
wall heat loss and friction gathered along the stroke. It is rough, smooth and rich enough that
nothing in the model's features reproduces it. All quantities are SI; arrays have one entry a case
(an engine at a speed).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

Array = NDArray[np.float64]

_GAS = 287.0
_CV = 820.0
_GAMMA = 1.0 + _GAS / _CV
_STEP_DEG = 1.0
_CYCLES = 4
_ATMOSPHERE = 100.3e3
_EXHAUST_KELVIN = 950.0


@dataclass(slots=True)
class Cases:
    """Engines at speeds: one entry a case in every array.

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
    intake_shape: Array
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
    shared_plenum: Array  # 0 a runner of its own .. 1 one open plenum
    throttle_area: Array  # effective, all barrels
    primary_area: Array
    primary_length: Array
    back_pressure: Array  # Pa at 0.1 kg/s
    boost: Array
    drive_loss: Array  # share of the power that drives a supercharger
    charge_kelvin: Array
    energy: Array  # J released a kg of mixture
    octane: Array
    spark_retard: Array  # crank degrees from the best
    burn: Array  # relative burn duration of the chamber
    friction: Array
    pumps: Array  # N.m of belt-driven drag at 5000 rpm

    def __len__(self) -> int:
        return len(self.rpm)

    def rows(self, keep: slice) -> Cases:
        """Return some of the cases."""
        return Cases(**{f.name: getattr(self, f.name)[keep] for f in fields(self)})


@dataclass(slots=True)
class _State:
    mass: Array
    kelvin: Array
    burned: Array
    port_mass: Array
    port_burned: Array
    runner: Array
    exhaust_mass: Array
    primary: Array

    def round(self) -> None:
        """Keep seven digits of every part.

        Where pressures meet, the steps chatter: the last bit of a double, which differs from one
        kind of processor to another, would grow into the digits of a sheet.
        """
        for part in fields(self):
            single = getattr(self, part.name).astype(np.float32)
            setattr(self, part.name, single.astype(np.float64))


def lift_at(degrees: Array, center: Array, opening: Array, peak: Array, shape: Array) -> Array:
    """Return valve lift at crank angles for a lobe that opens for ``opening`` degrees."""
    away = np.abs((degrees - center + 360.0) % 720.0 - 360.0)
    inside = np.clip(1.0 - (2.0 * away / opening) ** 2.2, 0.0, None)
    lift: Array = peak * inside**shape
    return lift


def _orifice(area: Array, p_up: Array, t_up: Array, p_down: Array) -> Array:
    """Return the mass flow through an area, kg/s, from the higher to the lower pressure."""
    ratio = np.clip(p_down / p_up, 0.53, 1.0)
    bracket = np.maximum(ratio**1.4286 - ratio**1.7143, 0.0)
    flow: Array = area * p_up * np.sqrt(7.0 * bracket / (_GAS * t_up))
    return flow


def _valve_area(lift: Array, diameter: Array, count: Array, throat: Array, quality: Array) -> Array:
    curtain = np.pi * diameter * lift * 0.78
    seat = 0.25 * np.pi * (0.87 * diameter) ** 2
    single = 1.0 / np.sqrt(
        1.0 / (curtain + 1e-9) ** 2 + 1.0 / seat**2 + 0.35 / (throat / count) ** 2
    )
    area: Array = quality * count * single
    return area


def brake_torque(
    cases: Cases, track: Callable[[Iterable[int]], Iterable[int]] | None = None
) -> tuple[Array, Array]:
    """Return brake torque and friction torque of every case, N.m.

    Parameters
    ----------
    cases
        What to run.
    track
        Wraps the loop over blocks of cases to show progress.

    Returns
    -------
    Two arrays with one entry a case.

    """
    block = 2048  # fits the processor's cache
    starts = range(0, len(cases), block)
    parts = [_run(cases.rows(slice(s, s + block))) for s in (track(starts) if track else starts)]
    torque, friction = (np.concatenate(column) for column in zip(*parts, strict=True))
    return torque, friction


def _run(c: Cases) -> tuple[Array, Array]:
    area = 0.25 * np.pi * c.bore**2
    swept = area * c.stroke
    clearance = swept / (c.compression - 1.0)
    dt = _STEP_DEG / (6.0 * c.rpm)
    state = _start(c, swept + clearance)
    plenum = np.full(len(c), _ATMOSPHERE) + c.boost
    air = np.zeros(len(c))
    work = friction = np.zeros(len(c))
    angles = np.arange(0.0, 720.0, _STEP_DEG)
    volumes = [_volume(c, angle, area, clearance) for angle in np.append(angles, 720.0)]
    for _ in range(_CYCLES):
        work, rub, air = _one_cycle(c, state, plenum, dt, angles, volumes, area)
        mean_flow = air * c.cylinders * c.rpm / 120.0
        density = plenum / (_GAS * c.charge_kelvin)
        drop = 0.5 * (mean_flow / c.throttle_area) ** 2 / density
        plenum = 0.5 * plenum + 0.5 * (_ATMOSPHERE + c.boost - np.minimum(drop, 0.35 * _ATMOSPHERE))
        friction = rub
    gross = work * c.cylinders / (4.0 * np.pi)
    drag = c.pumps * (c.rpm / 5000.0) ** 1.6
    lost = c.friction * friction * c.cylinders / (4.0 * np.pi) + drag
    return gross * (1.0 - c.drive_loss) - lost, lost


def _start(c: Cases, volume: Array) -> _State:
    n = len(c)
    mass = (_ATMOSPHERE + c.boost) * volume / (_GAS * 350.0)
    return _State(
        mass=mass,
        kelvin=np.full(n, 350.0),
        burned=np.full(n, 0.08),
        port_mass=(_ATMOSPHERE + c.boost) * c.port_volume / (_GAS * c.charge_kelvin),
        port_burned=np.zeros(n),
        runner=np.zeros(n),
        exhaust_mass=_ATMOSPHERE * 1.2e-4 / (_GAS * _EXHAUST_KELVIN) * np.ones(n),
        primary=np.zeros(n),
    )


def _volume(c: Cases, angle: float, area: Array, clearance: Array) -> Array:
    throw = c.stroke / 2
    radians = np.deg2rad(angle)
    down = (
        throw * (1 - np.cos(radians)) + c.rod - np.sqrt(c.rod**2 - (throw * np.sin(radians)) ** 2)
    )
    volume: Array = clearance + area * down
    return volume


def _burn_law(c: Cases, residual: Array, filling: Array) -> tuple[Array, Array]:
    """Return start and duration of combustion, degrees from firing top dead centre.

    Rich filling on high compression needs octane; without it the spark is held back.
    """
    duration = c.burn * (44.0 + 5.5 * (c.rpm / 1000.0 - 3.0) * 0.6 + 120.0 * residual)
    severity = c.compression * filling**0.8 - (0.27 * (c.octane - 87.0) + 9.3)
    hold = 1.5 * np.log1p(np.exp(1.4 * severity)) + c.spark_retard
    center = 8.5 + hold
    return center - 0.48 * duration, duration


def _one_cycle(
    c: Cases, s: _State, plenum: Array, dt: Array, angles: Array, volumes: list[Array], area: Array
) -> tuple[Array, Array, Array]:
    n = len(c)
    work, rub, air = np.zeros(n), np.zeros(n), np.zeros(n)
    swept = area * c.stroke
    filling = s.mass * _GAS * c.charge_kelvin / (_ATMOSPHERE * swept)
    start, duration = _burn_law(c, s.burned, filling)
    heat = s.mass * (1.0 - s.burned) * c.energy
    speed = c.stroke * c.rpm  # sets wall heat transfer only
    released = np.zeros(n)
    exhaust_volume = 0.9 * c.port_volume
    for i, angle in enumerate(angles):
        v0, v1 = volumes[i], volumes[i + 1]
        s.kelvin = s.kelvin * (v0 / v1) ** (_GAMMA - 1.0)
        pressure = s.mass * _GAS * s.kelvin / v1
        # heat in and out
        at = angle if angle < 360.0 else angle - 720.0
        done = 1.0 - np.exp(-5.0 * np.clip((at - start) / duration, 0.0, 1.6) ** 2.6)
        done = np.where(at < -120.0, 0.0, done) if angle >= 360.0 else done
        gained = np.maximum(done - released, 0.0) * heat if angle < 180.0 or angle > 600.0 else 0.0
        released = np.maximum(done, released) if angle < 180.0 or angle > 600.0 else released
        wall = (
            4.4 * c.bore**-0.2 * (pressure / 1e3) ** 0.8 * s.kelvin**-0.55 * (speed / 14.0) ** 0.8
        )
        surface = 2.6 * area + 4.0 * v1 / c.bore
        lost = wall * surface * (s.kelvin - 440.0) * dt
        s.kelvin = s.kelvin + (gained - lost) / (s.mass * _CV)
        # gas exchange
        if 90.0 < angle < 700.0:
            pressure = s.mass * _GAS * s.kelvin / v1
            air = air + _exchange(c, s, angle, pressure, plenum, dt, exhaust_volume)
        elif angle >= 700.0 or angle <= 90.0:
            _settle(c, s, plenum, dt, exhaust_volume)
        pressure = s.mass * _GAS * s.kelvin / v1
        work = work + (pressure - _ATMOSPHERE) * (v1 - v0)
        rub = rub + (0.010 * np.abs(pressure - _ATMOSPHERE) + 1.15e4 + 11.0 * c.rpm) * np.abs(
            v1 - v0
        )
        if angle == 600.0 - _STEP_DEG:  # the charge is closed in: the heat it brings is known
            filling = s.mass * _GAS * c.charge_kelvin / (_ATMOSPHERE * swept)
            start, duration = _burn_law(c, s.burned, filling)
            heat = s.mass * (1.0 - s.burned) * c.energy
            released = np.zeros(n)
        if angle == 130.0:
            s.burned = np.ones(n)
        s.round()
    return work, rub, air


def _exchange(
    c: Cases, s: _State, angle: float, pressure: Array, plenum: Array, dt: Array, exhaust: Array
) -> Array:
    """Move gas through both valves for one step; return the fresh mass that came in."""
    degrees = np.full(len(c), angle)
    lift = lift_at(degrees, 360.0 + c.intake_center, c.intake_open, c.intake_lift, c.intake_shape)
    opening = _valve_area(lift, c.intake_diameter, c.intake_valves, c.port_area, c.intake_quality)
    port = s.port_mass * _GAS * c.charge_kelvin / c.port_volume
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
    s.kelvin = s.kelvin * (1.0 - (_GAMMA - 1.0) * went / s.mass)
    s.mass = s.mass - went
    s.port_burned = (s.port_burned * s.port_mass + went * s.burned) / (s.port_mass + went)
    s.port_mass = s.port_mass + went - came

    lift = lift_at(
        degrees, 360.0 - c.exhaust_center, c.exhaust_open, c.exhaust_lift, c.intake_shape
    )
    throat = 0.8 * c.port_area
    opening = _valve_area(lift, c.exhaust_diameter, c.exhaust_valves, throat, c.exhaust_quality)
    manifold = s.exhaust_mass * _GAS * _EXHAUST_KELVIN / exhaust
    outward = pressure > manifold
    flow = _orifice(
        opening,
        np.where(outward, pressure, manifold),
        np.where(outward, s.kelvin, _EXHAUST_KELVIN),
        np.where(outward, manifold, pressure),
    )
    moved = np.clip(flow * dt, 0.0, 0.2 * np.where(outward, s.mass, s.exhaust_mass))
    left = np.where(outward, moved, 0.0)
    back = moved - left
    _mix(s, back, np.full(len(c), _EXHAUST_KELVIN), np.ones(len(c)))
    s.kelvin = s.kelvin * (1.0 - (_GAMMA - 1.0) * left / s.mass)
    s.mass = s.mass - left
    s.exhaust_mass = s.exhaust_mass + left - back
    _settle(c, s, plenum, dt, exhaust)
    fresh: Array = (came - went) * (1.0 - s.port_burned)
    return fresh


def _mix(s: _State, came: Array, kelvin: Array, burned: Array) -> None:
    """Add inflowing gas to the cylinder: enthalpy in, energy kept."""
    total = s.mass + came
    s.kelvin = (s.mass * s.kelvin + _GAMMA * came * kelvin) / total
    s.burned = (s.mass * s.burned + came * burned) / total
    s.mass = total


def _settle(c: Cases, s: _State, plenum: Array, dt: Array, exhaust: Array) -> None:
    """Let the gas columns of runner and primary move for one step."""
    density = plenum / (_GAS * c.charge_kelvin)
    port = s.port_mass * _GAS * c.charge_kelvin / c.port_volume
    length = c.runner_length + 0.09
    push = (plenum - port) / (density * length)
    drag = (0.9 + 0.6 * c.shared_plenum) * s.runner * np.abs(s.runner) / (2.0 * length)
    s.runner = np.clip(s.runner + (push - drag) * dt, -180.0, 180.0)
    moved = np.clip(
        density * c.port_area * 1.12 * s.runner * dt, -0.2 * s.port_mass, 0.3 * s.port_mass
    )
    s.port_burned = np.where(
        moved > 0, s.port_burned * s.port_mass / (s.port_mass + moved), s.port_burned
    )
    s.port_mass = s.port_mass + moved

    hot = _ATMOSPHERE / (_GAS * _EXHAUST_KELVIN)
    manifold = s.exhaust_mass * _GAS * _EXHAUST_KELVIN / exhaust
    leaving = hot * c.primary_area * s.primary
    outlet = (
        _ATMOSPHERE + c.back_pressure * (np.maximum(leaving, 0.0) * c.cylinders / 0.25) ** 2 / 4.0
    )
    push = (manifold - outlet) / (hot * c.primary_length)
    drag = 1.6 * s.primary * np.abs(s.primary) / (2.0 * c.primary_length)
    s.primary = np.clip(s.primary + (push - drag) * dt, -420.0, 420.0)
    moved = np.clip(
        hot * c.primary_area * s.primary * dt, -0.2 * s.exhaust_mass, 0.3 * s.exhaust_mass
    )
    s.exhaust_mass = s.exhaust_mass - moved
