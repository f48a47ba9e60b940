"""The table of what parts do, read from the page that shows it: common practice, no source.

Sizes are from memory. The engines that parts are changed on are an eight and a six, mild, with all
that a sheet can say.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import NamedTuple

TABLE = Path(__file__).parents[1] / "docs" / "explanation" / "parts.csv"

_BOTH = {
    "compression_ratio": 9.5, "valves_per_cylinder": 2, "lifter": "hydraulic roller",
    "intake_duration": 214, "exhaust_duration": 220, "intake_duration_seat": 264,
    "exhaust_duration_seat": 270, "lobe_separation": 112.0, "intake_centerline": 108.0,
    "intake_type": "dual plane", "runner_length": 6.5, "fuel_metering": "carburetor",
    "aspiration": "natural", "exhaust_type": "long-tube header", "primary_length": 32.0,
    "muffled": "no", "fuel": "gasoline", "octane": 93.0, "timing": 33.0,
    "water_pump": "mechanical", "accessories": "no",
}  # fmt: skip
ENGINES = {
    "gannet-eight": _BOTH
    | {
        "family": "gannet-eight", "arrangement": "vee", "cylinders": 8, "bore": 4.03,
        "stroke": 3.48, "rod_length": 5.7, "intake_lift": 0.47, "exhaust_lift": 0.48,
        "intake_valve": 1.99, "exhaust_valve": 1.58, "port_csa": 2.12, "port_volume": 210,
        "intake_flow": 215, "exhaust_flow": 160, "airflow": 600, "primary_diameter": 1.625,
    },
    "petrel-six": _BOTH
    | {
        "family": "petrel-six", "arrangement": "inline", "cylinders": 6, "bore": 3.9,
        "stroke": 3.53, "rod_length": 6.0, "intake_lift": 0.44, "exhaust_lift": 0.45,
        "intake_valve": 1.89, "exhaust_valve": 1.49, "port_csa": 1.91, "port_volume": 188,
        "intake_flow": 180, "exhaust_flow": 130, "airflow": 450, "primary_diameter": 1.5,
    },
}  # fmt: skip
#: What flows more when a head does, as a sheet shows it.
_OF_HEADS = ("intake_flow", "exhaust_flow")


class Direction(NamedTuple):
    """What a change of parts does to torque over a band of engine speeds, per cent."""

    part: str
    before: str
    after: str
    rpm: tuple[float, float]
    percent: tuple[float, float]

    @property
    def name(self) -> str:
        """Name of the case."""
        return f"{self.part}, {self.rpm[0]:.0f} to {self.rpm[1]:.0f} rpm"


def directions() -> list[Direction]:
    """Return the table."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [
            Direction(
                row["part"], row["from"], row["to"],
                (float(row["rpm low"]), float(row["rpm high"])),
                (float(row["percent low"]), float(row["percent high"])),
            )
            for row in csv.DictReader(file)
        ]  # fmt: skip


def changed(values: dict, text: str) -> dict:
    """Return fields with a cell of the table put in: ``stroke: +0.25; octane: 87``."""
    new = dict(values)
    for part in filter(None, text.split("; ")):
        name, _, value = part.partition(":")
        value = value.strip()
        for field in _OF_HEADS if name == "heads" else (name,):
            if value.endswith("%"):
                new[field] *= 1 + float(value.removesuffix("%")) / 100
            elif value.startswith(("+", "-")):
                new[field] += float(value)
            elif not value:
                new[field] = None
            else:
                new[field] = value if isinstance(new[field], str) else float(value)
    return new
