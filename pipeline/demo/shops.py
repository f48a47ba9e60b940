"""Invented shops, their dynos and their habits; by default those of the Tern Coast circle.

A shop reads a little high or low, works on a few families, never writes down some fields, stops its
sweeps early, and uses its own units and its own correction standard.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.demo import engine_families

if TYPE_CHECKING:
    from numpy.random import Generator

    from pullbook.pipeline.demo.engine_families import Family

#: Number of shops and sheets of the demo, and its seed.
SHOPS, SHEETS, SEED = 60, 800, 20260

_PLACES = (
    "Tern Quay", "Samphire Hard", "Lantern Creek", "Otter Staithe", "Marram Point", "Oyster Gat",
    "Withy Lock", "Heron Weir", "Cockle Bank", "Spindrift Pier", "Alder Reach", "Drift Sound",
    "Pebble Ness", "Eelgrass Bay", "Saltern Row", "Mudlark Steps", "Reed Cutting", "Kelp Wharf",
    "Foghorn Lane", "Barnacle Slip",
)  # fmt: skip
_TRADES = ("Marine", "Engine Works", "Rebuilds")

#: Fields that a shop may never write down, and the chance that it does not.
_ALONE = {
    "rod_length": 0.2, "intake_duration_seat": 0.25, "exhaust_duration_seat": 0.25,
    "intake_centerline": 0.2, "port_csa": 0.25, "port_volume": 0.2, "intake_flow": 0.1,
    "exhaust_flow": 0.15, "runner_length": 0.25, "airflow": 0.05, "primary_diameter": 0.12,
    "primary_length": 0.25, "exhaust_valve": 0.1, "lifter": 0.1, "arrangement": 0.12,
    "muffled": 0.15, "exhaust_lift": 0.1,
}  # fmt: skip
#: Fields that stand on one page of a shop's form, or in its head: they are missing together.
BLOCKS = {
    ("compression_ratio", "octane", "timing", "fuel"): 0.1,
    ("port_csa", "port_volume", "intake_flow", "exhaust_flow"): 0.18,
    ("intake_duration_seat", "exhaust_duration_seat", "intake_centerline"): 0.2,
    ("intake_valve", "exhaust_valve"): 0.08,
    ("primary_diameter", "primary_length", "muffled"): 0.1,
    ("airflow", "fuel_metering", "runner_length"): 0.07,
    ("valves_per_cylinder", "arrangement", "lifter", "rod_length"): 0.1,
    ("water_pump", "accessories"): 0.3,
    ("octane", "timing"): 0.1,
}


@dataclass(frozen=True, slots=True)
class Mix:
    """What is how common in a circle: shares from 0 to 1, and standard deviations.

    Attributes
    ----------
    returning
        Share of engines that come back to the stand, two to six times in all.
    unchanged, rebuilt
        Share of those visits with nothing changed, and with a rebuild.
    two_parts
        Share of changes of two parts at once.
    engine_scatter, engine_tilt
        Standard deviation of the logarithm of torque from engine to engine of one build: of its
        level, and of its tilt from one end of the sweep to the other.
    mount_scatter, mount_tilt
        The same from one mounting of an engine to the next.
    reads_high
        Share of shops whose dyno reads far too high.
    dyno_scatter
        Standard deviation of the logarithm of what the others' dynos read.
    missing
        How often a shop never writes down a field, relative to the demo.
    whole_numbers
        Share of shops that write readings in whole numbers.
    nameless
        Share of shops that do not name engines.
    """

    returning: float = 0.3
    unchanged: float = 0.13
    rebuilt: float = 0.05
    two_parts: float = 0.2
    engine_scatter: float = 0.016
    engine_tilt: float = 0.010
    mount_scatter: float = 0.006
    mount_tilt: float = 0.003
    reads_high: float = 0.05
    dyno_scatter: float = 0.018
    missing: float = 1.0
    whole_numbers: float = 0.4
    nameless: float = 0.2


@dataclass(frozen=True, slots=True)
class Circle:
    """How large an invented data set is; the same circle gives the same sheets.

    Attributes
    ----------
    shops
        Number of shops, at most 60; one is a lone shop.
    sheets
        Number of sheets of all shops together, about.
    seed
        Seed of everything that is drawn.
    families
        How many engine families are invented for it; 0 takes the twelve of the demo.
    mix
        What is how common in it.
    """

    shops: int = SHOPS
    sheets: int = SHEETS
    seed: int = SEED
    families: int = 0
    mix: Mix = Mix()


def circles(
    count: int, seed: int, shops: int = SHOPS, sheets: int = SHEETS, mix: Mix | None = None
) -> list[Circle]:
    """Return circles that share nothing but the physics: other shops, families and engines."""
    rng = np.random.default_rng(seed)
    return [
        Circle(shops, sheets, int(rng.integers(2**31)), int(rng.integers(9, 14)), mix or Mix())
        for _ in range(count)
    ]


def lone_shops(count: int, seed: int, mix: Mix | None = None) -> list[Circle]:
    """Return lone shops with 10 to 150 sheets of two to four families."""
    rng = np.random.default_rng(seed)
    sizes = np.exp(rng.uniform(np.log(10), np.log(150), count)).round().astype(int)
    return [
        Circle(1, int(size), int(rng.integers(2**31)), int(rng.integers(2, 5)), mix or Mix())
        for size in sizes
    ]


@dataclass(slots=True)
class Shop:
    """An invented shop."""

    name: str
    sheets: int
    bias: float  # reads high above 1
    tilt: float  # reads high at the top of the sweep above 0
    families: tuple[Family, ...]
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
    start: int  # where its sweeps begin, rev/min
    reach: float  # where they end, as a share of the speed of highest power
    digits: int  # of its readings, after the point
    naming: str  # how it calls engines: boat, block, number or not at all
    words: dict[str, str] = field(default_factory=dict)  # family -> what it calls it


def open_shops(circle: Circle, rng: Generator) -> list[Shop]:
    """Return the shops of a circle.

    The last sixth of the families is in one shop each; a few shops read far too high.
    """
    families = (
        engine_families.invent(circle.families, rng)
        if circle.families
        else engine_families.FAMILIES
    )
    names = [f"{place} {trade}" for trade in _TRADES for place in _PLACES][: circle.shops]
    shares = rng.gamma(1.6, 1.0, circle.shops)
    numbers = np.maximum(3, np.round(shares / shares.sum() * circle.sheets)).astype(int)
    if circle.shops == 1:
        return [_open(names[0], int(numbers[0]), families, circle.mix, rng)]
    rare = families[-max(1, len(families) // 6) :]
    shops = []
    for name, sheets in zip(names, numbers, strict=True):
        own = _families(families[: -len(rare)], rng)
        shops.append(_open(name, int(sheets), own, circle.mix, rng))
    for family in rare:
        home = shops[int(rng.integers(len(shops)))]
        home.families = (*home.families[:2], family)
    for family in families:
        for shop in [s for s in shops if family in s.families][1::2] if family.second_name else []:
            shop.words[family.name] = family.second_name
    high = int(len(shops) * circle.mix.reads_high)
    for place in rng.choice(len(shops), size=high, replace=False):
        shops[place].bias = float(rng.uniform(1.045, 1.07))
    return shops


def _families(families: tuple[Family, ...], rng: Generator) -> tuple[Family, ...]:
    """Return the one to five families a shop works on; the first are the common ones."""
    count = min(len(families), int(rng.choice([1, 2, 3, 4, 5], p=[0.25, 0.3, 0.2, 0.15, 0.1])))
    common = 1.0 / np.sqrt(1.0 + np.arange(len(families)))
    kinds = rng.choice(len(families), size=count, replace=False, p=common / common.sum())
    return tuple(families[i] for i in kinds)


def _open(name: str, sheets: int, families: tuple[Family, ...], mix: Mix, rng: Generator) -> Shop:
    standards = ("observed", "SAE J1349", "SAE J607", "DIN 70020", "ISO 1585")
    stated = str(rng.choice(standards, p=[0.25, 0.25, 0.3, 0.1, 0.1]))
    altitude = float(rng.choice([0.0, 0.0, 1.5, 6.0]))
    few = sheets < 8
    never = {name for name, chance in _ALONE.items() if rng.random() < mix.missing * chance}
    for block, chance in BLOCKS.items():
        never |= set(block) if rng.random() < mix.missing * chance else set()
    named = (1 - mix.nameless) * np.array([0.3125, 0.3125, 0.375])
    return Shop(
        name=name,
        sheets=sheets,
        bias=float(np.exp(rng.normal(0, mix.dyno_scatter))),
        tilt=float(rng.normal(0, 0.006)),
        families=families,
        ambition=float(rng.beta(1.6, 1.9)),
        correction=stated,
        weather_kept=stated == "observed" or bool(rng.random() < 0.55),
        metric=bool(rng.random() < 0.35),
        carrier="files"
        if few
        else str(rng.choice(["files", "tables", "workbook"], p=[0.6, 0.3, 0.1])),
        never=frozenset(never),
        kelvin=(float(rng.normal(294, 3)), float(rng.uniform(2, 6))),
        kpa=(101.2 - altitude, 0.7),
        chassis=bool(rng.random() < 0.06),
        step=int(rng.choice([100, 200, 250, 250, 500])),
        start=int(rng.choice([1500, 1800, 2000, 2000, 2500, 3000])),
        reach=float(rng.normal(0.96, 0.06)),
        digits=int(rng.random() < 1 - mix.whole_numbers),
        naming=str(rng.choice(["boat", "block", "number", ""], p=[*named, mix.nameless])),
    )
