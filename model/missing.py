"""What a missing field is worth: how far it could move the curve, given all that is known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from model.answer import Missing
from pipeline import feature_table
from schemas.fields import BUILD_FIELDS

if TYPE_CHECKING:
    from model.sample import Ints
    from model.training import Model

#: Values that a missing field is tried at: those of as many near sheets.
_TRIES = 12
#: No one field is believed to take more than this share of the variance away.
_MOST = 0.9
#: Standard normal deviate that the half-width is taken to stand for, whatever its level.
_DEVIATE = 1.645
_ONLY_BOOSTED = ("boost",)
_ONLY_HEADERS = ("primary_diameter", "primary_length")


def fields(
    model: Model, build: pd.DataFrame, near: Ints, width: float | None
) -> list[Missing]:
    """Return the fields that a build does not give, the one worth most first.

    Parameters
    ----------
    model
        The model.
    build
        One typed build, a table with one row.
    near
        Positions of sheets near it, nearest first.
    width
        Half-width of its limits, relative; ``None``: nothing is looked into.

    """
    names = [name for name in _applicable(build.iloc[0]) if pd.isna(build[name].iloc[0])]
    if width is None or width <= 0:
        return [Missing(name, None) for name in names]
    trials = {name: _candidates(model, name, near) for name in names}
    tried = [name for name in names if len(trials[name]) > 1]
    if not tried:
        return [Missing(name, None) for name in names]
    variants = pd.concat([_variants(build, name, trials[name]) for name in tried])
    curves = model.curve.curves(feature_table.make(variants, model.filling))
    owner = np.repeat(np.arange(len(tried)), [len(trials[name]) for name in tried])
    swing = {name: float(curves[owner == i].std(axis=0).mean()) for i, name in enumerate(tried)}
    worth = [
        Missing(name, _narrowing(swing[name], width) if name in swing else None) for name in names
    ]
    return sorted(worth, key=lambda m: -(m.narrows or 0.0))


def _applicable(row: pd.Series) -> list[str]:
    """Fields that a sheet of such a build would give."""
    left_out = {"aspiration"}
    if row["aspiration"] == "natural":
        left_out.update(_ONLY_BOOSTED)
    if row["exhaust_type"] == "cast manifold":
        left_out.update(_ONLY_HEADERS)
    return [name for name in BUILD_FIELDS if name not in left_out]


def _candidates(model: Model, name: str, near: Ints) -> list[object]:
    """Return the values of a field on the sheets nearest to the build that give it."""
    given = model.fields[name].iloc[near].dropna()
    if len(given) < _TRIES:
        rest = model.fields[name].drop(model.fields.index[near]).dropna()
        given = pd.concat([given, rest.iloc[:: max(1, len(rest) // _TRIES)]])
    return list(given.iloc[:_TRIES])


def _variants(build: pd.DataFrame, name: str, values: list[object]) -> pd.DataFrame:
    many = build.loc[build.index.repeat(len(values))].copy()
    many[name] = pd.array(values, dtype=build[name].dtype)
    return many


def _narrowing(swing: float, width: float) -> float:
    share = min((swing * _DEVIATE / width) ** 2, _MOST)
    return float(1 - np.sqrt(1 - share))
