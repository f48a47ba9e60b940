"""What is changed on an engine that is tested again: one part mostly, two at times."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.demo import engine_builds

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.random import Generator

    from pullbook.pipeline.demo.engine_builds import Build

    Change = Callable[[Build, Generator, float], None]

#: A part that comes out as it was is drawn again this often.
_TRIES = 6


def _compression(build: Build, rng: Generator, wild: float) -> None:
    step = rng.choice([-1.0, -0.5, 0.5, 1.0, 1.5], p=[0.1, 0.15, 0.3, 0.3, 0.15])
    new = build.values["compression_ratio"] + step + 0.2 * (wild - 0.5)
    build.values["compression_ratio"] = round(float(np.clip(new, 7.0, 12.5)), 1)


def _stroke(build: Build, rng: Generator, _wild: float) -> None:
    build.values["stroke"] = float(rng.choice(build.family.strokes))


def _airflow(build: Build, rng: Generator, wild: float) -> None:
    old = build.values["airflow"]
    while abs(build.values["airflow"] - old) < 0.1 * old:
        engine_builds.draw_airflow(build, rng, wild)
        wild = float(rng.uniform(0, 1.2))


#: What may be changed, and how often it is.
CHANGES: dict[str, tuple[float, Change]] = {
    "camshaft": (0.3, engine_builds.draw_camshaft),
    "intake": (0.17, engine_builds.draw_intake),
    "heads": (0.15, engine_builds.draw_head),
    "carburetor": (0.1, _airflow),
    "header": (0.13, engine_builds.draw_exhaust),
    "compression": (0.1, _compression),
    "stroke": (0.05, _stroke),
}


def copy(build: Build) -> Build:
    """Return the same engine, to change it."""
    return replace(build, values=dict(build.values))


def changed(build: Build, rng: Generator, ambition: float, two_parts: float) -> Build:
    """Return the engine with another part, at times two; the others are the very same."""
    weights = np.array([weight for weight, _ in CHANGES.values()])
    parts = rng.choice(
        list(CHANGES),
        size=2 if rng.random() < two_parts else 1,
        replace=False,
        p=weights / weights.sum(),
    )
    wild = float(np.clip(0.5 * ambition + 0.5 * rng.uniform(0, 1) + 0.1, 0, 1))
    for _ in range(_TRIES):
        new = copy(build)
        for part in parts:
            CHANGES[str(part)][1](new, rng, wild)
        if new.values != build.values:
            return new
    return new


def rebuilt(build: Build, rng: Generator) -> Build:
    """Return the engine bored out a size, with new bearings and rings."""
    new = copy(build)
    new.values["bore"] = round(build.values["bore"] + 0.03, 3)
    new.friction = build.family.hidden.friction * float(np.exp(rng.normal(0, 0.015)))
    return new
