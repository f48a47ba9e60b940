"""Invented engine families: the twelve of the demo, and as many others as a test wants.

Lengths are in inches. Families are unlike each other in more than a sheet can show: how well their
ports flow, how fast their chambers burn, how much heat they lose, how soon they knock.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.random import Generator


@dataclass(frozen=True, slots=True)
class Hidden:
    """What no sheet shows of a family; 1 is ordinary, but for ``knock``."""

    quality: float  # how well its ports flow
    burn: float = 1.0  # how slowly its chamber burns
    friction: float = 1.0
    heat: float = 1.0  # how much heat goes to its walls
    knock: float = 0.0  # compression that it stands more than others


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
    hidden: Hidden
    second_name: str = ""  # what some shops call it

    @property
    def overhead_cam(self) -> bool:
        """Whether a cam works the valves directly, without rockers."""
        return self.lifters == _OHC


_PUSHROD = ("hydraulic flat tappet", "solid flat tappet", "hydraulic roller", "solid roller")
_OHC = ("overhead cam",)

#: The families of the demo, the common ones first.
FAMILIES = (
    Family("gannet-eight", "vee", 8, (4.0, 4.03, 4.06), (3.25, 3.48, 3.75), 5.7, 2, 0.495, _PUSHROD, 9.6, Hidden(1.0)),
    Family("petrel-six", "inline", 6, (3.875, 3.9, 3.935), (3.53, 3.75, 3.9), 6.0, 2, 0.485, _PUSHROD, 9.0, Hidden(0.92, 1.08, 0.98, 1.05, -0.3)),
    Family("cormorant-eight", "vee", 8, (4.25, 4.31, 4.35), (3.76, 4.0, 4.25), 6.3, 2, 0.5, _PUSHROD, 9.8, Hidden(0.97, 1.05, 1.08, 0.92, 0.1)),
    Family("plover-four", "inline", 4, (3.4, 3.44), (3.0, 3.15, 3.4), 5.5, 2, 0.47, _OHC, 9.3, Hidden(1.01, 0.98, 0.9, 1.05, 0.2)),
    Family("eider-eight", "vee", 8, (3.78, 3.9, 4.0), (3.27, 3.62), 6.1, 2, 0.515, _PUSHROD[2:], 10.3, Hidden(1.1, 0.92, 0.95, 0.94, 0.5)),
    Family("whimbrel-six", "vee", 6, (3.74, 3.8, 3.9), (3.4, 3.48, 3.9), 5.9, 2, 0.49, _PUSHROD, 9.2, Hidden(0.95, 1.02, 1.08, 1.05)),
    Family("sandpiper-four", "inline", 4, (3.35, 3.39), (3.1, 3.39), 5.4, 4, 0.385, _OHC, 10.2, Hidden(1.08, 0.86, 1.02, 1.0, 0.6)),
    Family("merganser-eight", "vee", 8, (3.75, 3.8, 3.9), (3.0, 3.3, 3.8), 6.2, 2, 0.475, _PUSHROD[:3], 8.8, Hidden(0.86, 1.14, 1.1, 1.1, -0.5), "goosander V8"),
    Family("avocet-six", "vee", 6, (3.5, 3.55, 3.74), (3.2, 3.35), 5.8, 4, 0.38, _OHC, 10.3, Hidden(1.05, 0.9, 1.05, 0.95, 0.4)),
    Family("shearwater-six", "inline", 6, (3.2, 3.25), (3.6, 3.8), 6.6, 2, 0.48, _PUSHROD[:3], 8.2, Hidden(0.83, 1.16, 0.98, 1.12, -0.6)),
    Family("dunlin-four", "flat", 4, (3.62, 3.7, 3.78), (2.72, 2.95), 5.2, 2, 0.43, _PUSHROD[:2], 8.4, Hidden(0.86, 1.09, 0.93, 0.92, -0.3)),
    Family("turnstone-three", "inline", 3, (3.0, 3.1), (3.2, 3.4), 5.2, 4, 0.39, _OHC, 10.0, Hidden(0.98, 0.95, 1.1, 1.12, 0.3)),
)  # fmt: skip

_BIRDS = (
    "bittern", "brent", "curlew", "dipper", "fulmar", "godwit", "grebe", "heron", "kittiwake",
    "knot", "moorhen", "oystercatcher", "pochard", "rail", "razorbill", "sanderling", "scaup",
    "shelduck", "skua", "smew", "snipe", "stint", "teal", "wigeon",
)  # fmt: skip
_NUMBERS = {3: "three", 4: "four", 6: "six", 8: "eight"}


def invent(count: int, rng: Generator) -> tuple[Family, ...]:
    """Return families that exist in no other circle, at most 24; the second has two names."""
    names = rng.choice(_BIRDS, size=count, replace=False)
    families = [_invent(str(name), rng) for name in names]
    first, second, *others = families
    return (first, _under_two_names(second), *others)


def _under_two_names(family: Family) -> Family:
    return replace(family, second_name=f"old {family.name.partition('-')[0]}")


def _invent(bird: str, rng: Generator) -> Family:
    cylinders = int(rng.choice([3, 4, 6, 8], p=[0.05, 0.25, 0.3, 0.4]))
    arrangement = {
        3: ("inline",),
        4: ("inline", "inline", "flat"),
        6: ("inline", "vee"),
        8: ("vee",),
    }[cylinders]
    four_valves = bool(rng.random() < 0.25)
    overhead = four_valves or bool(rng.random() < 0.15)
    bore = float(rng.uniform(3.0, 3.8) if cylinders < 6 else rng.uniform(3.2, 4.35))
    stroke = bore * float(rng.uniform(0.76, 1.12))
    bores = tuple(round(bore + step, 3) for step in (0.0, 0.03, 0.06))
    strokes = tuple(
        round(stroke * step, 2) for step in (1.0, 1.07, 1.14)[: int(rng.integers(2, 4))]
    )
    quality = float(np.clip(rng.normal(0.96 + 0.06 * four_valves, 0.075), 0.8, 1.15))
    first, last = sorted(rng.choice(len(_PUSHROD) + 1, 2, replace=False).tolist())
    return Family(
        name=f"{bird}-{_NUMBERS[cylinders]}",
        arrangement=str(rng.choice(arrangement)),
        cylinders=cylinders,
        bores=bores,
        strokes=strokes,
        rod=round(stroke * float(rng.uniform(1.55, 1.85)), 2),
        valves=4 if four_valves else 2,
        valve_ratio=0.385 if four_valves else round(float(rng.uniform(0.43, 0.52)), 3),
        lifters=_OHC if overhead else _PUSHROD[first:last],
        compression=round(float(np.clip(8.2 + 12 * (quality - 0.85), 8.0, 10.6)), 1),
        hidden=Hidden(
            quality,
            float(np.clip(rng.normal(1.0, 0.08), 0.84, 1.22)),
            float(np.exp(rng.normal(0, 0.06))),
            float(np.exp(rng.normal(0, 0.08))),
            float(rng.normal(0, 0.4)),
        ),
    )
