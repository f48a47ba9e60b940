"""Likeness of builds by groups of parts: the kernel of the effects of parts.

The logarithm of torque is taken as a sum of effects, one of each group of parts and one of all
parts together, each a Gaussian process over the features of the group. So builds that differ in
the camshaft alone share every other effect. The kernel of a group is a rational quadratic
(Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, ch. 4): nearly straight over
small changes, and never surprised by large ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullbook.pipeline.features.engineered_features import CATEGORIES
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Groups of parts, and the columns of the feature table that each is seen by.
COLUMNS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "size": (
            "displacement", "cylinder_displacement", "bore_stroke", "rod_ratio", "piston_speed",
            "cylinders",
        ),
        "heads": (
            "flow_size", "valve_area_share", "port_csa_size", "port_volume_size",
            "flow_coefficient", "exhaust_intake_flow", "exhaust_intake_valve", "mach_index",
            "port_velocity", "valves_per_cylinder",
        ),
        "camshaft": (
            "intake_duration", "exhaust_duration", "intake_duration_seat", "lobe_separation",
            "overlap", "intake_closing", "exhaust_opening", "intake_lift", "exhaust_lift",
            "lift_diameter", "lifter",
        ),
        "intake": (
            "intake_type", "runner_length", "runner_helmholtz", "fuel_metering", "airflow_size",
            "airflow_demand",
        ),
        "exhaust": ("exhaust_type", "header_area", "primary_length", "primary_wave", "muffled"),
        "compression and fuel": (
            "compression_ratio", "dynamic_compression", "octane_compression", "octane", "timing",
            "fuel",
        ),
        "boost": ("aspiration", "pressure_ratio"),
        "how it was tested": ("water_pump", "accessories", "dyno"),
    }
)  # fmt: skip
#: Columns that are ratios or sizes: equal factors are equal steps.
_BY_RATIO = frozenset(
    {
        "displacement", "cylinder_displacement", "bore_stroke", "rod_ratio", "piston_speed",
        "flow_size", "valve_area_share", "port_csa_size", "port_volume_size", "flow_coefficient",
        "mach_index", "port_velocity", "runner_length", "runner_helmholtz", "airflow_size",
        "airflow_demand", "header_area", "primary_length", "primary_wave", "compression_ratio",
        "dynamic_compression", "octane_compression",
    }
)  # fmt: skip
#: A spread smaller than this is no reason to magnify differences: of a ratio, and as a share of
#: the mean of any other number.
_LEAST_RATIO, _LEAST_SHARE = 0.04, 0.03
#: Numbers are clipped so many standard deviations from the mean.
_CLIP = 4.0
#: Length scale over all parts together, where that over one group is 1.
_LENGTH_OF_ALL = 1.5
#: Square of the distance between two choices.
_APART = 2.0


@dataclass(frozen=True, slots=True)
class Inputs:
    """How builds become points, a space for each group of parts.

    Attributes
    ----------
    names, levels
        Column of the feature table behind each input, and the choice it indicates; -1 for a number.
    group
        Position in `COLUMNS` of the group of each input.
    center, scale
        What is subtracted from each input, and what the difference is multiplied by.
    """

    names: tuple[str, ...]
    levels: Ints
    group: Ints
    center: Floats
    scale: Floats

    def places(self, table: pd.DataFrame) -> Floats:
        """Return builds as points, shape (builds, inputs); a missing value takes the mean."""
        made = np.zeros((len(table), len(self.names)))
        for at, (name, level) in enumerate(zip(self.names, self.levels.tolist(), strict=True)):
            if level >= 0:
                made[:, at] = (table[name].to_numpy(dtype=float) == level) * self.scale[at]
            else:
                z = (_numbers(table, name) - self.center[at]) * self.scale[at]
                made[:, at] = np.clip(np.nan_to_num(z), -_CLIP, _CLIP)
        counts = np.bincount(_unique_names(self), minlength=len(COLUMNS))
        return made / np.sqrt(np.maximum(counts, 1))[self.group]

    def likeness(self, a: Floats, b: Floats) -> Floats:
        """Return the likeness of places by group, then by all parts, shape (groups + 1, a, b)."""
        like = np.empty((len(COLUMNS) + 1, len(a), len(b)))
        like[-1] = 0.0
        for number in range(len(COLUMNS)):
            mine = self.group == number
            squares = _squares(a[:, mine], b[:, mine])
            like[-1] += squares
            like[number] = 1 / (1 + squares / 2)
        like[-1] = 1 / (1 + like[-1] / (2 * _LENGTH_OF_ALL**2))
        return like


def inputs_of(table: pd.DataFrame) -> Inputs:
    """Return the inputs for the builds of a feature table, by their mean and spread."""
    names: list[str] = []
    levels: list[int] = []
    group: list[int] = []
    center: list[float] = []
    scale: list[float] = []
    for number, columns in enumerate(COLUMNS.values()):
        for name in columns:
            if name in CATEGORIES:
                choices = range(len(FIELDS[name].choices))
                names += [name] * len(choices)
                levels += list(choices)
                center += [0.0] * len(choices)
                scale += [np.sqrt(_APART / 2)] * len(choices)
            else:
                known = _numbers(table, name)
                known = known[np.isfinite(known)]
                mean = float(known.mean()) if len(known) else 0.0
                least = _LEAST_RATIO if name in _BY_RATIO else _LEAST_SHARE * abs(mean)
                spread = float(np.hypot(known.std() if len(known) else 0.0, least))
                names.append(name)
                levels.append(-1)
                center.append(mean)
                scale.append(1 / spread if spread > 0 else 0.0)
            group += [number] * (len(names) - len(group))
    return Inputs(
        tuple(names), np.array(levels), np.array(group), np.array(center), np.array(scale)
    )


def _unique_names(inputs: Inputs) -> list[int]:
    """Return the group of each column, once a column."""
    return list(dict(zip(inputs.names, inputs.group.tolist(), strict=True)).values())


def _numbers(table: pd.DataFrame, name: str) -> Floats:
    column = table[name].to_numpy(dtype=float)
    if name not in _BY_RATIO:
        return column
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(column)
    return np.where(np.isfinite(logs), logs, np.nan)


def _squares(a: Floats, b: Floats) -> Floats:
    squares: Floats = np.sum(a**2, axis=1)[:, None] + np.sum(b**2, axis=1)[None] - 2 * a @ b.T
    return np.maximum(squares, 0.0)
