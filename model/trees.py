"""Boosted trees: LightGBM, fitted the same way every time and kept as its own plain text."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from model.settings import Settings

    Floats = NDArray[np.float64]

_FIXED = {
    "verbosity": -1,
    "deterministic": True,
    "force_row_wise": True,
    "num_threads": 0,
    "bagging_freq": 1,
    "bagging_fraction": 0.7,
    "lambda_l2": 3.0,
}


class MissingLibraryError(ImportError):
    """LightGBM is installed and cannot start."""


class DamagedTreesError(ValueError):
    """A text that is not a sound set of trees."""


def library() -> Any:
    """Return the module lightgbm.

    Raises
    ------
    MissingLibraryError
        Its native part cannot be loaded; the message names the cure.

    """
    try:
        import lightgbm  # noqa: PLC0415 - a second to import; only some commands need it
    except OSError as fault:
        msg = (
            f"LightGBM cannot start ({fault}); it needs the OpenMP library: install libgomp1"
            " (Debian, Ubuntu), libgomp (Fedora) or libomp (Homebrew), then try again"
        )
        raise MissingLibraryError(msg) from fault
    return lightgbm


def fit(
    matrix: Floats,
    target: Floats,
    weight: Floats,
    names: Sequence[str],
    settings: Settings,
    *,
    spread: bool = False,
) -> str:
    """Fit trees and return them as LightGBM's text.

    Parameters
    ----------
    matrix
        Shape (readings, columns).
    target
        Shape (readings,). With ``spread`` it must be positive.
    weight
        Shape (readings,).
    names
        Of the columns.
    settings
        Of the training run.
    spread
        Fit the mean of a positive target on a logarithmic scale (gamma deviance) with few, broad
        leaves; otherwise least squares.

    """
    lightgbm = library()
    rows = len(target)
    smallest = max(5, min(settings.leaf_readings, rows // 40))
    parameters = {
        **_FIXED,
        "objective": "gamma" if spread else "regression",
        "learning_rate": settings.learning_rate,
        "num_leaves": settings.leaves,
        "min_data_in_leaf": smallest * 5 if spread else smallest,
        "feature_fraction": settings.feature_share,
        "seed": settings.seed,
    }
    data = lightgbm.Dataset(matrix, target, weight=weight, feature_name=list(names))
    rounds = settings.spread_rounds if spread else settings.rounds
    text: str = lightgbm.train(parameters, data, rounds).model_to_string()
    return text


class Trees:
    """Fitted trees, ready to predict."""

    def __init__(self, text: str) -> None:
        """Take LightGBM's text; see `check` for texts of unknown origin."""
        self.text = text
        self._booster = library().Booster(model_str=text)

    def predict(self, matrix: Floats) -> Floats:
        """Return the prediction of each row, shape (readings,)."""
        predicted: Floats = self._booster.predict(matrix)
        return predicted

    def gain(self) -> Floats:
        """Return how much each column helped, shape (columns,), summing to one."""
        gain = np.asarray(self._booster.feature_importance("gain"), dtype=float)
        return gain / gain.sum() if gain.sum() > 0 else np.full(len(gain), 1 / len(gain))


_SECTION = re.compile(r"^Tree=\d+$", re.MULTILINE)
_INDEXED = ("left_child", "right_child")


def check(text: str, columns: int) -> None:
    """Make sure that a text is a sound set of trees before LightGBM's loader sees it.

    The loader trusts its input: a damaged text can end the process or load wrong. Every child
    must point to a later split or to a leaf that exists, every split to a column that exists and
    every leaf and threshold must be finite.

    Parameters
    ----------
    text
        LightGBM's text.
    columns
        How many columns the trees may look at.

    Raises
    ------
    DamagedTreesError
        Something is not sound.

    """
    head, *sections = _SECTION.split(text)
    if not head.startswith("tree\n") or not sections or "end of trees" not in sections[-1]:
        msg = "the text does not hold a set of trees"
        raise DamagedTreesError(msg)
    if f"max_feature_idx={columns - 1}\n" not in head:
        msg = f"the trees are not over {columns} columns"
        raise DamagedTreesError(msg)
    for number, section in enumerate(sections):
        try:
            _check_tree(_entries(section.split("end of trees")[0]), columns)
        except (KeyError, ValueError) as fault:
            msg = f"tree {number} is damaged"
            raise DamagedTreesError(msg) from fault


def _entries(section: str) -> dict[str, str]:
    lines = (line.partition("=") for line in section.splitlines() if "=" in line)
    return {name: value for name, _, value in lines}


def _check_tree(entries: dict[str, str], columns: int) -> None:
    leaves = int(entries["num_leaves"])
    values = [float(value) for value in entries["leaf_value"].split()]
    if len(values) != leaves or not np.isfinite(values).all():
        msg = "leaves"
        raise ValueError(msg)
    if int(entries["num_cat"]) != 0:
        msg = "splits over sets are not used here"
        raise ValueError(msg)
    if leaves == 1:
        return
    splits = [int(value) for value in entries["split_feature"].split()]
    thresholds = [float(value) for value in entries["threshold"].split()]
    children = [[int(value) for value in entries[side].split()] for side in _INDEXED]
    if {len(splits), len(thresholds), *map(len, children)} != {leaves - 1}:
        msg = "lengths"
        raise ValueError(msg)
    if not all(0 <= split < columns for split in splits) or np.isnan(thresholds).any():
        msg = "splits"
        raise ValueError(msg)
    reached = sorted(child for side in children for child in side)
    if reached != sorted([*range(1, leaves - 1), *range(-leaves, 0)]):
        msg = "every split and leaf must be reached once"
        raise ValueError(msg)
    for side in children:
        if any(0 <= child <= parent for parent, child in enumerate(side)):
            msg = "a child must come after its parent"
            raise ValueError(msg)
