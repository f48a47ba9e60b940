"""The Tern Coast rebuilders' circle: invented shops, their dynos and their habits.

A shop reads a little high or low, works on a few families, never writes down some fields, and uses
its own units and its own correction standard. The pipeline is there to make such sheets comparable.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.demo import engine_cycle, engine_families
from pullbook.pipeline.demo.engine_families import FAMILIES, Build
from pullbook.pipeline.physics import correction_factors

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from numpy.random import Generator
    from numpy.typing import NDArray

_PLACES = (
    "Tern Quay", "Samphire Hard", "Lantern Creek", "Otter Staithe", "Marram Point", "Oyster Gat",
    "Withy Lock", "Heron Weir", "Cockle Bank", "Spindrift Pier", "Alder Reach", "Drift Sound",
    "Pebble Ness", "Eelgrass Bay", "Saltern Row", "Mudlark Steps", "Reed Cutting", "Kelp Wharf",
    "Foghorn Lane", "Barnacle Slip",
)  # fmt: skip
_TRADES = ("Marine", "Engine Works", "Rebuilds")

#: Fields that a shop may never write down, and the chance that it does not.
_OPTIONAL = {
    "rod_length": 0.45, "intake_duration_seat": 0.5, "exhaust_duration_seat": 0.5,
    "intake_centerline": 0.35, "port_csa": 0.55, "port_volume": 0.35, "intake_flow": 0.3,
    "exhaust_flow": 0.4, "runner_length": 0.5, "airflow": 0.15, "primary_diameter": 0.25,
    "primary_length": 0.45, "timing": 0.3, "octane": 0.2, "exhaust_valve": 0.2, "lifter": 0.2,
    "arrangement": 0.2, "valves_per_cylinder": 0.15, "water_pump": 0.4, "accessories": 0.4,
    "muffled": 0.25, "fuel": 0.1, "exhaust_lift": 0.15,
}  # fmt: skip
#: Chance that a field is missing on a single sheet of a shop that usually writes it down.
_LOST = 0.06
_FIRST_YEAR, LAST_YEAR = 2016, 2025
_KEPT_ALWAYS = ("family", "cylinders", "bore", "stroke", "aspiration", "boost")


@dataclass(slots=True)
class Shop:
    """An invented shop."""

    name: str
    bias: float  # reads high above 1
    tilt: float  # reads high at the top of the sweep above 0
    families: tuple[engine_families.Family, ...]
    ambition: float
    correction: str
    weather_kept: bool
    metric: bool
    carrier: str  # files, tables or workbook
    never: frozenset[str]
    kelvin: tuple[float, float]
    kpa: tuple[float, float]
    chassis: bool
    step: int
    sheets: int


@dataclass(slots=True)
class Made:
    """One invented sheet: its content, and the hidden values behind it."""

    sheet_id: str
    shop: Shop
    build: Build
    rpm: NDArray[np.float64]
    torque: NDArray[np.float64]  # lb-ft as stated
    truth: NDArray[np.float64]  # lb-ft of the engine as designed, at the reference condition
    stated: str
    weather: correction_factors.Weather | None
    year: int
    lost: frozenset[str]
    extra: dict[str, str] = field(default_factory=dict)


def open_shops(count: int, sheets: int, rng: Generator) -> list[Shop]:
    """Return the shops of the circle.

    Parameters
    ----------
    count
        Number of shops, at most 60.
    sheets
        Number of sheets of all shops together, about.
    rng
        Random generator.

    """
    names = [f"{place} {trade}" for trade in _TRADES for place in _PLACES][:count]
    shares = rng.gamma(1.6, 1.0, count)
    numbers = np.maximum(3, np.round(shares / shares.sum() * sheets)).astype(int)
    return [_open(name, int(n), rng) for name, n in zip(names, numbers, strict=True)]


def _open(name: str, sheets: int, rng: Generator) -> Shop:
    standards = ("observed", "SAE J1349", "SAE J607", "DIN 70020", "ISO 1585")
    stated = str(rng.choice(standards, p=[0.25, 0.25, 0.3, 0.1, 0.1]))
    altitude = float(rng.choice([0.0, 0.0, 1.5, 6.0]))
    kinds = rng.choice(len(FAMILIES), size=int(rng.integers(2, 6)), replace=False)
    carrier = (
        "files"
        if sheets < 8
        else str(rng.choice(["files", "tables", "workbook"], p=[0.6, 0.3, 0.1]))
    )
    return Shop(
        name=name,
        bias=float(np.exp(rng.normal(0, 0.018))),
        tilt=float(rng.normal(0, 0.006)),
        families=tuple(FAMILIES[i] for i in kinds),
        ambition=float(rng.beta(1.6, 1.9)),
        correction=stated,
        weather_kept=stated == "observed" or bool(rng.random() < 0.55),
        metric=bool(rng.random() < 0.35),
        carrier=carrier,
        never=frozenset(k for k, p in _OPTIONAL.items() if rng.random() < p * 0.7),
        kelvin=(float(rng.normal(294, 3)), float(rng.uniform(2, 6))),
        kpa=(101.2 - altitude, 0.7),
        chassis=bool(rng.random() < 0.06),
        step=int(rng.choice([100, 200, 250, 250, 500])),
        sheets=sheets,
    )


def run(
    shops: list[Shop],
    rng: Generator,
    track: Callable[[Iterable[int]], Iterable[int]] | None = None,
) -> list[Made]:
    """Draw and test all builds of the shops, and return their sheets.

    About one sheet in ten is a later pull of an engine that was tested before.
    """
    plans: list[tuple[Shop, int]] = []  # shop and number of the engine
    builds: list[Build] = []
    for shop in shops:
        own: list[int] = []
        for _ in range(shop.sheets):
            if not own or rng.random() > 0.1:
                own.append(len(builds))
                family = shop.families[int(rng.integers(len(shop.families)))]
                builds.append(engine_families.draw(family, rng, shop.ambition))
                plans.append((shop, own[-1]))
            else:
                plans.append((shop, int(rng.choice(own))))
    sweeps = [_sweep(build, rng) for build in builds]
    knots = [np.linspace(low, high, 14) for low, high in sweeps]
    torque, friction = engine_cycle.brake_torque(engine_families.cases(builds, knots), track)
    curves = list(zip(knots, torque.reshape(-1, 14), friction.reshape(-1, 14), strict=True))
    scatter = [np.exp(rng.normal(0, 0.016) + rng.normal(0, 0.010) * _across(14)) for _ in builds]
    return [
        _test(number, shop, builds[i], curves[i], scatter[i], rng)
        for number, (shop, i) in enumerate(plans, start=1)
    ]


def _across(points: int) -> NDArray[np.float64]:
    return np.linspace(-1, 1, points)


def _sweep(build: Build, rng: Generator) -> tuple[float, float]:
    """Return the first and last speed of a sweep, which ends a little above the power peak."""
    v = build.values
    top = 4300 + 38 * (v["intake_duration"] - 195) + (350 if v["stroke"] < 3.3 else -150)
    top = float(np.clip(top + rng.normal(0, 250), 4000, 7200))
    low = float(np.clip(top * rng.uniform(0.3, 0.5), 1400, 3200))
    return round(low / 100) * 100, round(top / 100) * 100


def _test(
    number: int,
    shop: Shop,
    build: Build,
    curve: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    scatter: NDArray[np.float64],
    rng: Generator,
) -> Made:
    from scipy.interpolate import CubicSpline  # noqa: PLC0415 - only needed to make the demo

    knots, newton_metres, lost = curve
    rpm = np.arange(knots[0], knots[-1] + 1, shop.step)
    truth = CubicSpline(knots, newton_metres)(rpm)
    mine = truth * CubicSpline(knots, scatter)(rpm)
    air = correction_factors.Weather(
        rng.normal(*shop.kelvin) - 273.15, rng.normal(*shop.kpa), float(rng.uniform(25, 85))
    )
    # Thin, warm air lowers the engine's filling; friction does not change.
    drag = CubicSpline(knots, lost)(rpm)
    breath = (air.dry / 99.0) * (298.15 / air.kelvin) ** 0.5
    observed = (mine + drag) * breath - drag
    reading = observed * shop.bias * (1 + shop.tilt * _across(len(rpm)))
    reading *= np.exp(rng.normal(0, 0.006) + rng.normal(0, 0.003, len(rpm)))
    reading *= 0.84 * np.exp(rng.normal(0, 0.01)) if shop.chassis else 1.0
    stated = reading * correction_factors.factor(shop.correction, air) / 1.3558179483314004
    lost_fields = frozenset(
        name for name in build.values if name not in _KEPT_ALWAYS and rng.random() < _LOST
    )
    return Made(
        sheet_id=f"{shop.name.split()[0].lower()}-{number:04d}",
        shop=shop,
        build=build,
        rpm=rpm,
        torque=stated,
        truth=truth / 1.3558179483314004,
        stated=shop.correction,
        weather=air if shop.weather_kept else None,
        year=int(rng.integers(_FIRST_YEAR, LAST_YEAR + 1)),
        lost=lost_fields,
    )
