"""What a missing field is worth: how far it could move the curve, given all that is known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from pullbook.pipeline.features import engineered_features, feature_table
from pullbook.pipeline.features.fill_missing import PLAUSIBLE_WEIGHTS
from pullbook.schemas.answer import Missing
from pullbook.schemas.fields import BUILD_FIELDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.training.train_model import Model

#: No one missing field is believed to take more than this share of the variance away.
_MOST = 0.9
#: Standard normal deviate that the half-width is taken to stand for, whatever its level.
_DEVIATE = 1.645
_ONLY_BOOSTED = ("boost",)
_ONLY_HEADERS = ("primary_diameter", "primary_length")


class Swing(NamedTuple):
    """A field that is not given, and how far it could move the curve.

    Attributes
    ----------
    field
        The field.
    swing
        Standard deviation of the logarithm of torque over the values it may have; ``None`` where
        that was not worked out.
    """

    field: str
    swing: float | None


def worth(swings: Sequence[Swing], width: float | None) -> list[Missing]:
    """Return the fields that are not given, the one first that would narrow limits most.

    Parameters
    ----------
    swings
        The fields, and how far each could move the curve.
    width
        Half-width of the limits, relative; ``None`` without limits, which nothing narrows.

    """
    known = width is not None and width > 0
    found = [
        Missing(field, _narrowing(swing, width) if known and swing is not None else None)  # type: ignore[arg-type]
        for field, swing in swings
    ]
    return sorted(found, key=lambda one: -(one.narrows or 0.0))


def _narrowing(swing: float, width: float) -> float:
    share = min((swing * _DEVIATE / width) ** 2, _MOST)
    return float(1 - np.sqrt(1 - share))


def not_given(builds: pd.DataFrame) -> list[list[Swing]]:
    """Return for each build the fields that a sheet of it would give and it does not."""
    names = [name for name in BUILD_FIELDS if name != "aspiration"]
    bare = builds[names].isna().to_numpy()
    natural = (builds["aspiration"] == "natural").to_numpy(dtype=bool)
    cast = (builds["exhaust_type"] == "cast manifold").fillna(value=False).to_numpy(dtype=bool)
    for rows, beside in ((natural, _ONLY_BOOSTED), (cast, _ONLY_HEADERS)):
        for name in beside:
            bare[rows, names.index(name)] = False
    every = [Swing(name, None) for name in names]
    return [[every[at] for at in np.flatnonzero(row).tolist()] for row in bare]


def swings(model: Model, build: pd.DataFrame, near: Ints) -> list[Swing]:
    """Return the fields that a build does not give, and how far each could move the curve.

    Parameters
    ----------
    model
        The model.
    build
        One typed build, a table with one row.
    near
        Positions of sheets near it, nearest first.

    """
    (bare,) = not_given(build)
    trials = _trials(model, build, [one.field for one in bare], near)
    if not trials:
        return bare
    variants = pd.concat([_variants(build, name, values) for name, (values, _) in trials.items()])
    curves = model.curve.curves(feature_table.make(variants, model.filling))
    bounds = np.cumsum([len(values) for values, _ in trials.values()])[:-1]
    swing = {
        name: _swing(part, weights)
        for (name, (_, weights)), part in zip(trials.items(), np.split(curves, bounds), strict=True)
    }
    return [Swing(one.field, swing.get(one.field)) for one in bare]


def _trials(
    model: Model, build: pd.DataFrame, names: list[str], near: Ints
) -> dict[str, tuple[list[Any], Floats]]:
    """Return values that each missing field might have, with their weights.

    Sizes and angles are tried where the other fields lead to expect them, choices as the near
    sheets have them.
    """
    plausible = model.filling.plausible(engineered_features.numbers(build))
    trials: dict[str, tuple[list[Any], Floats]] = {}
    for name in names:
        if name in plausible:
            trials[name] = (plausible[name].tolist(), PLAUSIBLE_WEIGHTS)
            continue
        given = model.fields[name].iloc[near].dropna()
        if len(set(given)) > 1:
            trials[name] = (given.tolist(), np.full(len(given), 1 / len(given)))
    return trials


def _swing(curves: Floats, weights: Floats) -> float:
    """Return the standard deviation of weighted curves, averaged over the grid."""
    away = curves - weights @ curves
    return float(np.sqrt(weights @ away**2).mean())


def _variants(build: pd.DataFrame, name: str, values: list[Any]) -> pd.DataFrame:
    many = build.loc[build.index.repeat(len(values))].copy()
    many[name] = pd.Series(values, index=many.index, dtype=build[name].dtype)
    return many
