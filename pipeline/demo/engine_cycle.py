"""A simulated engine: gas exchange and combustion of one cylinder by crank angle.

Filling and emptying with lumped gas inertia in the intake runner and the header primary,
compressible flow through the valves, single-zone Wiebe heat release with knock-limited phasing,
wall heat loss, and friction summed along the stroke. It is a rough model with smooth results, and
no feature of the model reproduces it. All quantities are SI; arrays have one entry per case (an
engine at one speed).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.demo.gas_exchange import (
    ATMOSPHERE,
    CV,
    EXHAUST_KELVIN,
    GAMMA,
    GAS,
    Array,
    Cases,
    State,
    Valves,
    exchange,
    settle,
    valves,
)
from pullbook.pipeline.parallel.workers import Processes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


_STEP_DEG = 1.0
_CYCLES = 3
#: Cases run at once: as many as fit the processor's cache.
_BLOCK = 1536


def brake_torque(
    cases: Cases, track: Callable[[Iterable[int]], Iterable[int]] | None = None
) -> tuple[Array, Array]:
    """Return brake torque and friction torque of every case, N.m.

    Parameters
    ----------
    cases
        The cases to run.
    track
        Wraps the loop over blocks of cases to show progress.

    Returns
    -------
    Two arrays of shape (cases,).

    """
    starts = range(0, len(cases), _BLOCK)
    blocks = [cases.rows(slice(s, s + _BLOCK)) for s in starts]
    done = Processes(os.cpu_count() or 1).each(_run, blocks)
    parts = [part for _, part in zip(track(starts) if track else starts, done, strict=True)]
    torque, friction = (np.concatenate(column) for column in zip(*parts, strict=True))
    return torque, friction


def _run(c: Cases) -> tuple[Array, Array]:
    area = 0.25 * np.pi * c.bore**2
    swept = area * c.stroke
    clearance = swept / (c.compression - 1.0)
    dt = _STEP_DEG / (6.0 * c.rpm)
    state = _start(c, swept + clearance)
    plenum = np.full(len(c), ATMOSPHERE) + c.boost
    air = np.zeros(len(c))
    work = friction = np.zeros(len(c))
    angles = np.arange(0.0, 720.0, _STEP_DEG)
    turn = _turn(c, angles, area, clearance)
    for _ in range(_CYCLES):
        work, rub, air = _one_cycle(c, state, plenum, dt, turn, area)
        mean_flow = air * c.cylinders * c.rpm / 120.0
        density = plenum / (GAS * c.charge_kelvin)
        drop = 0.5 * (mean_flow / c.throttle_area) ** 2 / density
        plenum = 0.5 * plenum + 0.5 * (ATMOSPHERE + c.boost - np.minimum(drop, 0.35 * ATMOSPHERE))
        friction = rub
    gross = work * c.cylinders / (4.0 * np.pi)
    drag = c.pumps * (c.rpm / 5000.0) ** 1.6
    lost = c.friction * friction * c.cylinders / (4.0 * np.pi) + drag
    return gross * (1.0 - c.drive_loss) - lost, lost


def _start(c: Cases, volume: Array) -> State:
    n = len(c)
    mass = (ATMOSPHERE + c.boost) * volume / (GAS * 350.0)
    return State(
        mass=mass,
        kelvin=np.full(n, 350.0),
        burned=np.full(n, 0.08),
        port_mass=(ATMOSPHERE + c.boost) * c.port_volume / (GAS * c.charge_kelvin),
        port_burned=np.zeros(n),
        runner=np.zeros(n),
        exhaust_mass=ATMOSPHERE * 1.2e-4 / (GAS * EXHAUST_KELVIN) * np.ones(n),
        primary=np.zeros(n),
    )


@dataclass(slots=True)
class _Turn:
    """What is the same in every cycle, by step: it depends on the parts and the speed alone.

    Shapes (steps,), (steps + 1, cases) and (steps, cases).
    """

    angles: Array  # crank degrees from firing top dead centre
    volumes: Array  # m3, before each step and after the last
    heating: Array  # ratio of temperatures over the change of volume
    surface: Array  # of the wall, times what heat transfer takes from parts, speed and step
    valves: Valves


def _turn(c: Cases, angles: Array, area: Array, clearance: Array) -> _Turn:
    throw = c.stroke / 2
    radians = np.deg2rad(np.append(angles, 720.0))[:, None]
    down = (
        throw * (1 - np.cos(radians)) + c.rod - np.sqrt(c.rod**2 - (throw * np.sin(radians)) ** 2)
    )
    volumes = clearance + area * down
    # Speed and size of the charge motion set how fast heat goes to the wall.
    motion = 4.4 * c.heat * c.bore**-0.2 * 1e3**-0.8 * (c.stroke * c.rpm / 14.0) ** 0.8
    dt = _STEP_DEG / (6.0 * c.rpm)
    return _Turn(
        angles,
        volumes,
        heating=np.exp((GAMMA - 1.0) * np.log(volumes[:-1] / volumes[1:])),
        surface=motion * dt * (2.6 * area + 4.0 * volumes[1:] / c.bore),
        valves=valves(c, angles),
    )


def _burn_law(c: Cases, residual: Array, filling: Array) -> tuple[Array, Array]:
    """Return start and duration of combustion, degrees from firing top dead centre.

    Good filling with high compression needs octane; without it the spark is retarded.
    """
    duration = c.burn * (44.0 + 5.5 * (c.rpm / 1000.0 - 3.0) * 0.6 + 120.0 * residual)
    severity = c.compression * filling**0.8 - (0.27 * (c.octane - 87.0) + 9.3 + c.knock)
    hold = 1.1 * np.log1p(np.exp(1.4 * severity)) + c.spark_retard
    center = 8.5 + hold
    return center - 0.48 * duration, duration


def _unready(c: Cases, swept: Array) -> Array:
    """Return the share of the fuel that is not ready to burn.

    A slow charge drops its fuel and spreads it unevenly over the cylinders; a fast one carries it.
    """
    velocity = swept * c.rpm / 30.0 / c.port_area
    slow: Array = c.wet * np.exp(-((velocity / 26.0) ** 1.5))
    return slow


def _one_cycle(
    c: Cases, s: State, plenum: Array, dt: Array, turn: _Turn, area: Array
) -> tuple[Array, Array, Array]:
    n = len(c)
    work, rub, air = np.zeros(n), np.zeros(n), np.zeros(n)
    swept = area * c.stroke
    energy = c.energy * (1.0 - _unready(c, swept))
    filling = s.mass * GAS * c.charge_kelvin / (ATMOSPHERE * swept)
    start, duration = _burn_law(c, s.burned, filling)
    heat = s.mass * (1.0 - s.burned) * energy
    released = np.zeros(n)
    exhaust_volume = 0.9 * c.port_volume
    for i, angle in enumerate(turn.angles):
        v0, v1 = turn.volumes[i], turn.volumes[i + 1]
        s.kelvin = s.kelvin * turn.heating[i]
        pressure = s.mass * GAS * s.kelvin / v1
        # heat in and out
        at = angle if angle < 360.0 else angle - 720.0
        done = 1.0 - np.exp(-5.0 * np.clip((at - start) / duration, 0.0, 1.6) ** 2.6)
        done = np.where(at < -120.0, 0.0, done) if angle >= 360.0 else done
        gained = np.maximum(done - released, 0.0) * heat if angle < 180.0 or angle > 600.0 else 0.0
        released = np.maximum(done, released) if angle < 180.0 or angle > 600.0 else released
        wall = np.exp(0.8 * np.log(pressure) - 0.55 * np.log(s.kelvin))
        lost = wall * turn.surface[i] * (s.kelvin - 440.0)
        s.kelvin = s.kelvin + (gained - lost) / (s.mass * CV)
        # gas exchange
        if 90.0 < angle < 700.0:
            pressure = s.mass * GAS * s.kelvin / v1
            air = air + exchange(
                c,
                s,
                (turn.valves.intake[i], turn.valves.exhaust[i]),
                pressure,
                plenum,
                dt,
                exhaust_volume,
            )
        elif angle >= 700.0 or angle <= 90.0:
            settle(c, s, plenum, dt, exhaust_volume)
        pressure = s.mass * GAS * s.kelvin / v1
        work = work + (pressure - ATMOSPHERE) * (v1 - v0)
        rub = rub + (0.010 * np.abs(pressure - ATMOSPHERE) + 1.15e4 + 11.0 * c.rpm) * np.abs(
            v1 - v0
        )
        if angle == 600.0 - _STEP_DEG:  # the valves are closed: the heat of the charge is known
            filling = s.mass * GAS * c.charge_kelvin / (ATMOSPHERE * swept)
            start, duration = _burn_law(c, s.burned, filling)
            heat = s.mass * (1.0 - s.burned) * energy
            released = np.zeros(n)
        if angle == 130.0:
            s.burned = np.ones(n)
        s.round()
    return work, rub, air
