"""Groups of parts of an engine, and the fields of each."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Groups of parts, and the fields of each.
GROUPS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "size": ("cylinders", "arrangement", "bore", "stroke", "displacement", "rod_length"),
        "compression": ("compression_ratio",),
        "fuel": ("fuel", "octane", "timing"),
        "camshaft": (
            "intake_duration", "exhaust_duration", "intake_duration_seat",
            "exhaust_duration_seat", "lobe_separation", "intake_centerline", "intake_lift",
            "exhaust_lift", "lifter",
        ),
        "heads": (
            "valves_per_cylinder", "intake_valve", "exhaust_valve", "port_csa", "port_volume",
            "intake_flow", "exhaust_flow",
        ),
        "intake": ("intake_type", "runner_length", "fuel_metering", "airflow"),
        "boost": ("aspiration", "boost"),
        "exhaust": ("exhaust_type", "primary_diameter", "primary_length", "muffled"),
        "how it was tested": ("water_pump", "accessories", "dyno"),
    }
)  # fmt: skip

#: Fields that a swap changes together. What differs on two sheets of one engine tells which were
#: swapped; all the others are the same on both, whether they were written down or not.
SWAPPED: tuple[tuple[str, ...], ...] = (
    ("cylinders", "arrangement"), ("bore", "stroke", "displacement"), ("rod_length",),
    ("compression_ratio",),
    ("fuel", "octane"), ("timing",),
    tuple(name for name in GROUPS["camshaft"] if name != "lifter"), ("lifter",), GROUPS["heads"],
    ("intake_type", "runner_length"), ("fuel_metering", "airflow"), GROUPS["boost"],
    ("exhaust_type", "primary_diameter", "primary_length"), ("muffled",),
    *((name,) for name in GROUPS["how it was tested"]),
)  # fmt: skip
