"""Pulls of invented engines on the dynos of invented shops, with the truth behind them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.demo import engine_cycle, engine_series, shops, simulated_parts
from pullbook.pipeline.physics import correction_factors

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterable

    from numpy.random import Generator
    from numpy.typing import NDArray
    from scipy.interpolate import CubicSpline

    from pullbook.pipeline.demo.engine_builds import Build
    from pullbook.pipeline.demo.shops import Circle, Shop

    Floats = NDArray[np.float64]
    Track = Callable[[Iterable[int]], Iterable[int]]

_NEWTON_METRES = 1.3558179483314004
#: Engine speeds that the engine is simulated at; a spline goes through them.
_KNOTS = 13
#: A sweep covers at least this many rev/min in at least this many readings.
_SPAN, _READINGS = 1800.0, 7
_STEPS = (500, 250, 200, 100)
#: Chance that a field, and that a block of fields, is missing on one sheet of a shop.
_LOST, _BLOCK_LOST = 0.03, 0.02
_KEPT_ALWAYS = ("family", "cylinders", "bore", "stroke", "aspiration", "boost")


@dataclass(slots=True)
class Made:
    """One invented sheet: its content, and the hidden values behind it."""

    sheet_id: str
    shop: Shop
    engine: str
    build: Build
    rpm: Floats
    torque: Floats  # lb-ft as stated
    truth: Floats  # lb-ft of the engine as designed, at the reference condition
    stated: str
    weather: correction_factors.Weather | None
    day: dt.date
    lost: frozenset[str]
    extra: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Curve:
    """What an engine makes as designed.

    Attributes
    ----------
    rpm
        Lowest and highest engine speed that was simulated, rev/min.
    at
        Torque and friction, N.m, at engine speeds: shape (engine speeds, 2).
    power_rpm
        The engine speed of highest power, rev/min.
    """

    rpm: tuple[float, float]
    at: CubicSpline
    power_rpm: float

    @classmethod
    def through(cls, rpm: Floats, torque: Floats, friction: Floats) -> Curve:
        """Return the smooth curve through simulated engine speeds."""
        from scipy.interpolate import CubicSpline  # noqa: PLC0415 - only needed to make the demo

        spline = CubicSpline(rpm, np.column_stack([torque, friction]))
        fine = np.arange(rpm[0], rpm[-1], 50.0)
        best = float(fine[(spline(fine)[:, 0] * fine).argmax()])
        return cls((float(rpm[0]), float(rpm[-1])), spline, best)


def run(circle: Circle, track: Track | None = None) -> list[Made]:
    """Draw the shops of a circle, test their engines, and return the sheets."""
    rng = np.random.default_rng(circle.seed)
    found = [
        (shop, visit)
        for shop in shops.open_shops(circle, rng)
        for visit in engine_series.visits(shop, circle.mix, rng)
    ]
    builds = list({id(visit.build): visit.build for _, visit in found}.values())
    curve = dict(zip(map(id, builds), simulate(builds, track), strict=True))
    return [
        _test(number, shop, visit, curve[id(visit.build)], rng)
        for number, (shop, visit) in enumerate(found, start=1)
    ]


def simulate(builds: list[Build], track: Track | None = None) -> list[Curve]:
    """Return the curve of each build, to a little above the speed of highest power."""
    knots = [np.linspace(1300.0, _top(build), _KNOTS) for build in builds]
    torque, friction = engine_cycle.brake_torque(simulated_parts.cases(builds, knots), track)
    return list(map(Curve.through, knots, torque.reshape(-1, _KNOTS), friction.reshape(-1, _KNOTS)))


def _top(build: Build) -> float:
    v = build.values
    top = 5400 + 40 * (v["intake_duration"] - 195) + (350 if v["stroke"] < 3.3 else -150)
    return float(np.clip(top, 5000, 8200))


def _sweep(shop: Shop, curve: Curve, rng: Generator) -> Floats:
    """Return the engine speeds of a sweep: most end before power turns over, some start late."""
    end = curve.power_rpm * shop.reach * float(np.exp(rng.normal(0, 0.03)))
    end = float(np.clip(end, shop.start + _SPAN, curve.rpm[1]))
    step = next((s for s in _STEPS if s <= shop.step and (end - shop.start) / s >= _READINGS), 100)
    return np.arange(float(shop.start), end + 1.0, step)


def _test(
    number: int, shop: Shop, visit: engine_series.Visit, curve: Curve, rng: Generator
) -> Made:
    rpm = _sweep(shop, curve, rng)
    across = np.linspace(-1, 1, len(rpm))
    truth, drag = curve.at(rpm).T
    level, tilt = visit.scatter
    mine = truth * np.exp(
        level + tilt * (2 * (rpm - curve.rpm[0]) / (curve.rpm[1] - curve.rpm[0]) - 1)
    )
    air = correction_factors.Weather(
        rng.normal(*shop.kelvin) - 273.15, rng.normal(*shop.kpa), float(rng.uniform(25, 85))
    )
    # Thin, warm air lowers the engine's filling; friction does not change.
    breath = (air.dry / 99.0) * (298.15 / air.kelvin) ** 0.5
    observed = (mine + drag) * breath - drag
    reading = observed * shop.bias * (1 + shop.tilt * across)
    reading *= np.exp(rng.normal(0, 0.003) + rng.normal(0, 0.003, len(rpm)))
    reading *= 0.84 * np.exp(rng.normal(0, 0.01)) if shop.chassis else 1.0
    stated = reading * correction_factors.factor(shop.correction, air) / _NEWTON_METRES
    return Made(
        sheet_id=f"{shop.name.split()[0].lower()}-{number:04d}",
        shop=shop,
        engine=visit.engine,
        build=visit.build,
        rpm=rpm,
        torque=stated,
        truth=truth / _NEWTON_METRES,
        stated=shop.correction,
        weather=air if shop.weather_kept else None,
        day=visit.day,
        lost=_lost(visit.build, rng),
    )


def _lost(build: Build, rng: Generator) -> frozenset[str]:
    """Return the fields that were not written down this time."""
    lost = {name for name in build.values if rng.random() < _LOST}
    for block in shops.BLOCKS:
        lost |= set(block) if rng.random() < _BLOCK_LOST else set()
    return frozenset(lost.difference(_KEPT_ALWAYS))
