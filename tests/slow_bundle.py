"""A slow, plain reader of a bundle's trees, written from LightGBM's description of its text."""

from __future__ import annotations

import math

import numpy as np

_DEFAULT_LEFT, _ZERO_AS_MISSING, _NAN_AS_MISSING = 2, 4, 8
_NEAR_ZERO = 1e-35


def slow_trees(text: str, rows: np.ndarray) -> np.ndarray:
    """Return what a set of trees predicts for rows, a row and a split at a time."""
    head, *trees = text.split("\nTree=")
    total = np.zeros(len(rows))
    for tree in trees:
        entries = dict(line.split("=", 1) for line in f"Tree={tree}".split("\n") if "=" in line)
        for at, row in enumerate(rows):
            total[at] += _leaf(entries, row)
    return np.exp(total) if "objective=gamma" in head.split("\n") else total


def _leaf(entries: dict[str, str], row: np.ndarray) -> float:
    values = [float(value) for value in entries["leaf_value"].split(" ")]
    if len(values) == 1:
        return values[0]
    columns, thresholds, kinds, left, right = (
        entries[name].split(" ")
        for name in ("split_feature", "threshold", "decision_type", "left_child", "right_child")
    )
    node = 0
    while node >= 0:
        kind, value = int(kinds[node]), float(row[int(columns[node])])
        missing = kind & 12
        if math.isnan(value) and missing != _NAN_AS_MISSING:
            value = 0.0
        lost = (missing == _ZERO_AS_MISSING and abs(value) <= _NEAR_ZERO) or (
            missing == _NAN_AS_MISSING and math.isnan(value)
        )
        goes_left = bool(kind & _DEFAULT_LEFT) if lost else value <= float(thresholds[node])
        node = int(left[node] if goes_left else right[node])
    return values[~node]
