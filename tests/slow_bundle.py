"""A slow, plain reader of a bundle's trees and arrays, one build, node and point at a time.

Trees are read by LightGBM's description of its text, arrays by what the documentation says of the
method. It shares with the program only what no bundle can change: the engineered features of a
build whose fields are filled, the field dictionary, and which columns go with engine speed.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
from pyarrow import parquet

from pullbook.pipeline.features import engineered_features
from pullbook.pipeline.features.fill_missing import FILLED
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from pathlib import Path

_DEFAULT_LEFT, _ZERO_AS_MISSING, _NAN_AS_MISSING = 2, 4, 8
_NEAR_ZERO = 1e-35
_ANGLES = {
    "intake_duration", "exhaust_duration", "intake_duration_seat", "exhaust_duration_seat",
    "lobe_separation", "intake_centerline", "timing", "octane",
}  # fmt: skip
_HEADER = ("primary_diameter", "primary_length")


class SlowAnswer(NamedTuple):
    """What the arrays of a bundle say of one build that a new shop would test.

    Attributes
    ----------
    torque
        Torque on the bundle's grid of engine speeds, lb-ft.
    spread
        Expected relative error there, before a build outside the data gets a larger one.
    distance
        Distance to the tested builds.
    outside
        Whether it must count as outside, by distance, range or choice.
    factors
        Half-widths of the limits of a reading and of the curve, in expected errors.
    """

    torque: np.ndarray
    spread: np.ndarray
    distance: float
    outside: bool
    factors: tuple[float | None, float | None]


class SlowBundle:
    """The files of a bundle, read without any check."""

    def __init__(self, folder: Path) -> None:
        """Read them."""
        with np.load(folder / "arrays.npz") as archive:
            self.arrays = {name: archive[name] for name in archive.files}
        with np.load(folder / "filling.npz") as archive:
            self.filling = {name: archive[name] for name in archive.files}
        table = parquet.read_table(folder / "sheets.parquet").replace_schema_metadata(None)
        self.builds = table.to_pandas()
        self.curve, self.spread = (
            (folder / name).read_text(encoding="ascii") for name in ("curve.txt", "spread.txt")
        )

    def answer(self, build: pd.DataFrame, level: float) -> SlowAnswer:
        """Return what it says of a typed build, a table with one row, that names no engine."""
        features = self.features(build)
        distance = _distance(self.arrays, "", features)
        if "start.thresholds" in self.arrays:
            beside = _distance(self.arrays, "start.", features) / self.arrays["start.thresholds"][1]
            distance = min(distance, beside * self.arrays["thresholds"][1])
        size = features["displacement"] * features["pressure_ratio"]
        return SlowAnswer(
            np.exp(self.curve_of(features)) * size,
            self._expected(features, distance),
            distance,
            self._is_outside(build, features, distance),
            tuple(self._factor(part, build, level) for part in ("point", "band")),
        )

    # --- fields that are not given ----------------------------------------------------------

    def features(self, build: pd.DataFrame) -> dict[str, float]:
        """Return the features of a build, its missing fields filled."""
        given = {name: float(column[0]) for name, column in
                 engineered_features.numbers(build).items()}  # fmt: skip
        filled = given | self._expected_fields(given)
        table = engineered_features.engineer({k: np.array([v]) for k, v in filled.items()})
        found = {str(name): float(table[name].iloc[0]) for name in table}
        return found | {f"given_{name}": float(not math.isnan(given[name])) for name in FILLED}

    def _expected_fields(self, given: dict[str, float]) -> dict[str, float]:
        """Return the fields that are missing, as a normal distribution expects them."""
        names = self.filling["names"].tolist()
        z = np.array([_standing_for(name, given) for name in names])
        z = (z - self.filling["center"]) / self.filling["scale"]
        known = np.flatnonzero(~np.isnan(z))
        square = self.filling["covariance"]
        solved = np.linalg.solve(square[known][:, known], z[known]) if len(known) else z[known]
        found = {}
        for at, name in enumerate(names):
            if name not in FILLED or not math.isnan(given[name]):
                continue
            value = float(square[at, known] @ solved)
            value = value * self.filling["scale"][at] + self.filling["center"][at]
            value = value if name in _ANGLES else float(np.exp(value))
            cast = FIELDS["exhaust_type"].choices.index("cast manifold")
            bare = name in _HEADER and given["exhaust_type"] == cast
            low, high = FIELDS[name].low, FIELDS[name].high
            found[name] = math.nan if bare else min(max(value, low), high)
        return found

    # --- the curve --------------------------------------------------------------------------

    def curve_of(self, features: dict[str, float]) -> np.ndarray:
        """Return the logarithm of torque for each cubic inch of charge on the bundle's grid."""
        arrays = self.arrays
        if not self.curve:
            return np.zeros(len(arrays["speeds"]))
        own = arrays["curve.speeds"]
        of_trees = _smoothed(slow_trees(self.curve, _rows(features, own)))
        share = float(arrays["share"])
        curve = share * of_trees + (1 - share) * self._of_process(features, own)
        return np.array([_between(own, curve, rpm) for rpm in arrays["speeds"]])

    def _of_process(self, features: dict[str, float], speeds: np.ndarray) -> np.ndarray:
        part = {name.removeprefix("process."): array for name, array in self.arrays.items()
                if name.startswith("process.")}  # fmt: skip
        mine = []
        for at, (name, choice) in enumerate(zip(part["columns"], part["levels"], strict=True)):
            raw = features[name] if choice < 0 else float(features[name] == choice)
            scaled = (raw - part["center"][at]) * part["scale"][at]
            scaled = 0.0 if math.isnan(scaled) else scaled
            mine.append(min(max(scaled, part["low"][at]), part["high"][at]))
        total = np.full(len(speeds), float(part["level"]))
        for place, speed, weight in zip(
            part["places"], part["speeds"], part["weights"], strict=True
        ):
            away = float(np.sum((np.array(mine) - place) ** 2)) / max(1, len(mine))
            alike = 1 / (1 + away / (2 * 1.5**2)) + float(np.array(mine) @ place) / len(mine)
            total += weight * alike * _over_speed(np.log(speeds), speed, 0.4, 0.3)
        return total

    # --- limits -----------------------------------------------------------------------------

    def _expected(self, features: dict[str, float], distance: float) -> np.ndarray:
        if not self.spread:
            return np.zeros(len(self.arrays["speeds"]))
        known = sum(value for name, value in features.items() if name.startswith("given_"))
        more = features | {"distance": distance, "known": known}
        found = _smoothed(slow_trees(self.spread, _rows(more, self.arrays["speeds"])))
        return np.maximum(found, 1e-3)

    def _factor(self, part: str, build: pd.DataFrame, level: float) -> float | None:
        """Return the half-width of limits, in expected errors."""
        regimes = ["new shop"] if self._is_known(build) else ["new shop", "new shop, new family"]
        there = [name for name in regimes if f"{name}.point.values" in self.arrays]
        if "new shop" not in there:
            return None
        groups = [int(self.arrays[f"{name}.{part}.groups"]) for name in there]
        kept = min([level, *(n / (n + 1) for n in groups)])
        found = [self._threshold(f"{name}.{part}", kept) for name in there]
        return None if min(groups) < 5 or None in found else max(found)

    def _threshold(self, name: str, level: float) -> float | None:
        pairs = zip(self.arrays[f"{name}.values"], self.arrays[f"{name}.mass"], strict=True)
        return next((float(value) for value, mass in pairs if mass >= level - 1e-9), None)

    def _is_known(self, build: pd.DataFrame) -> bool:
        """Return whether the family of a build is known: by its name, or by its sizes."""
        one = build.iloc[0]
        for _, other in self.builds.iterrows():
            same = [_same(one[name], other[name]) for name in ("bore", "stroke")]
            same += [one[name] == other[name] for name in ("cylinders", "arrangement")
                     if not pd.isna(one[name]) and not pd.isna(other[name])]  # fmt: skip
            named = not pd.isna(one["family"]) and not pd.isna(other["family"])
            if named and one["family"].casefold().strip() == other["family"].casefold().strip():
                return True
            if len(same) == 4 and all(same):
                return True
        return False

    def _is_outside(self, build: pd.DataFrame, features: dict[str, float], distance: float) -> bool:
        arrays, one = self.arrays, build.iloc[0]
        if distance > arrays["thresholds"][1]:
            return True
        for name, (low, high) in zip(arrays["ranged"], arrays["ranges"], strict=True):
            sizes = ("displacement", "cylinder_displacement")
            value = features[name] if name in sizes else one[name]
            if pd.isna(value):
                continue
            over = max(low - float(value), float(value) - high)
            margin = float(arrays["margin"]) * (high - low) or 0.02 * abs(high)
            if over > 1e-9 * max(abs(low), abs(high)) and over > margin:
                return True
        seen = {(field, choice): count for (field, choice), count in
                zip(arrays["seen"].tolist(), arrays["seen_on"].tolist(), strict=True)}  # fmt: skip
        return any(
            not pd.isna(one[field]) and not seen.get((field, str(one[field])), 0)
            for field in {field for field, _ in seen}
        )


def _standing_for(name: str, given: dict[str, float]) -> float:
    """Return what stands for a field in the distribution of fields."""
    field, _, choice = name.partition("=")
    value = given[field]
    if choice:
        return value if math.isnan(value) else float(value == int(choice))
    return value if field in _ANGLES else math.log(value)


def _same(a: float, b: float) -> bool:
    return not pd.isna(a) and not pd.isna(b) and round(a, 3) == round(b, 3)


def _rows(features: dict[str, float], speeds: np.ndarray) -> np.ndarray:
    """Return a row of features at each engine speed, the speed first."""
    return np.array([
        [rpm, *(value * rpm if name in engineered_features.PER_RPM else value
                for name, value in features.items())]
        for rpm in speeds
    ])  # fmt: skip


def _smoothed(stairs: np.ndarray) -> np.ndarray:
    """Return values without their steps: the least of squared change and bend (Whittaker)."""
    bend = np.zeros((len(stairs) - 2, len(stairs))) if len(stairs) > 2 else np.zeros((0, 2))
    for at in range(len(bend)):
        bend[at, at : at + 3] = 1, -2, 1
    return np.linalg.solve(np.eye(len(stairs)) + 2.0 * bend.T @ bend, stairs)


def _between(grid: np.ndarray, values: np.ndarray, rpm: float) -> float:
    """Return a value between the points of a grid, by the cubic of Catmull and Rom."""
    place = min(max((rpm - grid[0]) / (grid[1] - grid[0]), 0.0), len(grid) - 1.0)
    at = min(int(place), len(grid) - 2)
    t, longer = place - at, [2 * values[0] - values[1], *values, 2 * values[-1] - values[-2]]
    a, b, c, d = longer[at : at + 4]
    cubic = (3 * b - a - 3 * c + d) * t**3 + (2 * a - 5 * b + 4 * c - d) * t**2 + (c - a) * t
    return float(b + 0.5 * cubic)


def _over_speed(a: np.ndarray, b: float, length: float, common: float) -> np.ndarray:
    return common + (1 - common) * np.exp(-0.5 * ((a - b) / length) ** 2)


def _distance(arrays: dict[str, np.ndarray], prefix: str, features: dict[str, float]) -> float:
    """Return the mean distance to the three nearest tested builds."""
    mine: list[float] = []
    for at, name in enumerate(arrays[f"{prefix}names"].tolist()):
        share = math.sqrt(arrays[f"{prefix}relevance"][at])
        if FIELDS.get(name) is not None and FIELDS[name].choices:
            choices = range(len(FIELDS[name].choices))
            mine += [share * (features[name] == choice) for choice in choices]
        else:
            center, scale = arrays[f"{prefix}center"][at], arrays[f"{prefix}scale"][at]
            z = (features[name] - center) / scale
            mine.append(share * (0.0 if math.isnan(z) else z))
    places = arrays[f"{prefix}places"]
    away = sorted(float(np.sqrt(np.sum((place - mine) ** 2))) for place in places)
    return sum(away[:3]) / len(away[:3])


# --- trees ----------------------------------------------------------------------------------


def slow_trees(text: str, rows: np.ndarray) -> np.ndarray:
    """Return what a set of trees predicts for rows, a row and a split at a time."""
    head, *trees = text.split("\nTree=")
    total = np.zeros(len(rows))
    for tree in trees:
        entries = dict(line.split("=", 1) for line in f"Tree={tree}".split("\n") if "=" in line)
        lines = {name: entries[name].split(" ") for name in entries}
        for at, row in enumerate(rows):
            total[at] += _leaf(lines, row)
    return np.exp(total) if "objective=gamma" in head.split("\n") else total


def _leaf(lines: dict[str, list[str]], row: np.ndarray) -> float:
    if len(lines["leaf_value"]) == 1:
        return float(lines["leaf_value"][0])
    node = 0
    while node >= 0:
        kind = int(lines["decision_type"][node])
        value = float(row[int(lines["split_feature"][node])])
        missing = kind & 12
        if math.isnan(value) and missing != _NAN_AS_MISSING:
            value = 0.0
        lost = (missing == _ZERO_AS_MISSING and abs(value) <= _NEAR_ZERO) or (
            missing == _NAN_AS_MISSING and math.isnan(value)
        )
        goes_left = bool(kind & _DEFAULT_LEFT) if lost else value <= float(lines["threshold"][node])
        node = int(lines["left_child" if goes_left else "right_child"][node])
    return float(lines["leaf_value"][~node])
