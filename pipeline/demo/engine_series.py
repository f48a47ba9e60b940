"""What a shop tests over the years: engines once, and engines that stay on the stand.

Sheets of one engine share its scatter: no two engines of one specification make the same. Each time
it is mounted it reads a little otherwise; a rebuild makes another engine of it under the old name.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.demo import engine_builds, part_changes

if TYPE_CHECKING:
    from numpy.random import Generator

    from pullbook.pipeline.demo.engine_builds import Build
    from pullbook.pipeline.demo.shops import Mix, Shop

FIRST_YEAR, LAST_YEAR = 2016, 2025
#: How often an engine that comes back is tested.
_VISITS = (2, 6)

_BOATS = (
    "Lugworm", "Sea Holly", "Bladderwrack", "Samphire", "Limpet", "Dog Whelk", "Sandmason",
    "Cuttle", "Thrift", "Old Piddock", "Razor Shell", "Goby", "Brill", "Weever", "Dab",
)  # fmt: skip


class Scatter(NamedTuple):
    """How far an engine is off its specification: level, and tilt from one end to the other."""

    level: float
    tilt: float


@dataclass(slots=True)
class Visit:
    """An engine on the stand: what was built, and when it was tested.

    Attributes
    ----------
    engine
        What the shop calls the engine; empty if it does not name engines.
    build
        The engine as it was tested; the same object where nothing was changed.
    scatter
        How far this engine, mounted this time, is off what was designed.
    day
        When it was tested.
    """

    engine: str
    build: Build
    scatter: Scatter
    day: dt.date


def visits(shop: Shop, mix: Mix, rng: Generator) -> list[Visit]:
    """Return what a shop tested, as many visits as it has sheets, engine after engine."""
    found: list[Visit] = []
    number = 0
    while len(found) < shop.sheets:
        number += 1
        found += _of_engine(shop, _name(shop, number, rng), mix, rng)
    return found[: shop.sheets]


def _of_engine(shop: Shop, name: str, mix: Mix, rng: Generator) -> list[Visit]:
    family = shop.families[int(rng.integers(len(shop.families)))]
    build = engine_builds.draw(family, rng, shop.ambition)
    build.values["family"] = shop.words.get(family.name, family.name)
    count = int(rng.integers(_VISITS[0], _VISITS[1] + 1)) if rng.random() < mix.returning else 1
    first = dt.date(FIRST_YEAR, 1, 1) + dt.timedelta(
        days=int(rng.integers(365 * (LAST_YEAR - FIRST_YEAR + 1)))
    )
    of_engine = (mix.engine_scatter, mix.engine_tilt)
    engine, day = _scatter(rng, of_engine), first
    found = []
    for visit in range(count):
        if visit:
            kind = rng.random()
            if kind < mix.rebuilt:
                build, engine = part_changes.rebuilt(build, rng), _scatter(rng, of_engine)
            elif kind > mix.rebuilt + mix.unchanged:
                build = part_changes.changed(build, rng, shop.ambition, mix.two_parts)
            later = day + dt.timedelta(days=int(rng.geometric(1 / 40)))
            day = min(later, dt.date(LAST_YEAR, 12, 31))
        mount = _scatter(rng, (mix.mount_scatter, mix.mount_tilt))
        both = Scatter(engine.level + mount.level, engine.tilt + mount.tilt)
        found.append(Visit(name, build, both, day))
    return found


def _scatter(rng: Generator, sd: tuple[float, float]) -> Scatter:
    return Scatter(float(rng.normal(0, sd[0])), float(rng.normal(0, sd[1])))


def _name(shop: Shop, number: int, rng: Generator) -> str:
    """Return what a shop calls its engine, in its own way."""
    if shop.naming == "boat":
        boat = _BOATS[(number - 1) % len(_BOATS)]
        again = (number - 1) // len(_BOATS)
        return f"{boat}{f' {again + 1}' if again else ''}, {rng.choice(['port', 'starboard'])}"
    if shop.naming == "block":
        return f"blk {rng.integers(10_000, 99_999)}"
    return f"E{number:03d}" if shop.naming == "number" else ""
