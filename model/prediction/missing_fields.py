"""Missing fields: how far each could move the curve, given everything that is known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.trained.build_curves import curves_of
from pullbook.pipeline.features import engineered_features
from pullbook.pipeline.features.fill_missing import PLAUSIBLE_WEIGHTS
from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT
from pullbook.schemas.answer import Missing
from pullbook.schemas.fields import BUILD_FIELDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.trained.engines import Ready
    from pullbook.model.trained.trained_model import Model

#: Most of the variance that one missing field may remove, as a share.
_MOST = 0.9
#: Standard normal deviate that the half-width is assumed to be, at any level.
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
        Standard deviation of the logarithm of torque over the values it may have; ``None`` if not
        worked out.
    """

    field: str
    swing: float | None


def worth(swings: Sequence[Swing], width: float | None) -> list[Missing]:
    """Return the fields that are not given, the one that would narrow the limits most first.

    Parameters
    ----------
    swings
        The fields, and how far each could move the curve.
    width
        Relative half-width of the limits; ``None`` without limits.

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
    """Return for each build the fields that it does not give and that apply to it."""
    names = [name for name in BUILD_FIELDS if name not in ("aspiration", DISPLACEMENT)]
    missing = builds[names].isna().to_numpy()
    natural = (builds["aspiration"] == "natural").to_numpy(dtype=bool)
    cast = (builds["exhaust_type"] == "cast manifold").fillna(value=False).to_numpy(dtype=bool)
    for rows, not_applicable in ((natural, _ONLY_BOOSTED), (cast, _ONLY_HEADERS)):
        for name in not_applicable:
            missing[rows, names.index(name)] = False
    every = [Swing(name, None) for name in names]
    return [[every[at] for at in np.flatnonzero(row).tolist()] for row in missing]


def swings(
    model: Model, build: pd.DataFrame, near: Ints, ready: Ready | None = None
) -> list[Swing]:
    """Return the fields that a build does not give, and how far each could move the curve.

    Parameters
    ----------
    model
        The model.
    build
        One typed build, a table with one row.
    near
        Positions of sheets near it, nearest first.
    ready
        What is known of its engine, where its answer comes from effects.

    """
    (missing,) = not_given(build)
    trials = _trials(model, build, [one.field for one in missing], near)
    if not trials:
        return missing
    variants = _variants(build, {name: values for name, (values, _) in trials.items()})
    curves = curves_of(model, variants, ready).log_torque
    bounds = np.cumsum([len(values) for values, _ in trials.values()])[:-1]
    swing = {
        name: _swing(part, weights)
        for (name, (_, weights)), part in zip(trials.items(), np.split(curves, bounds), strict=True)
    }
    return [Swing(one.field, swing.get(one.field)) for one in missing]


def _trials(
    model: Model, build: pd.DataFrame, names: list[str], near: Ints
) -> dict[str, tuple[list[Any], Floats]]:
    """Return values that each missing field might have, with their weights.

    Sizes and angles take values that are plausible beside the other fields, choices those of the
    near sheets.
    """
    plausible = model.filling.plausible(engineered_features.numbers(build))
    trials: dict[str, tuple[list[Any], Floats]] = {}
    for name in names:
        if name in plausible:
            trials[name] = (plausible[name].tolist(), PLAUSIBLE_WEIGHTS)
            continue
        seen = model.fields[name].array.take(near)
        given = [value for value, gap in zip(seen, seen.isna(), strict=True) if not gap]
        if len(set(given)) > 1:
            trials[name] = (given, np.full(len(given), 1 / len(given)))
    return trials


def _swing(curves: Floats, weights: Floats) -> float:
    """Return the standard deviation of weighted curves, averaged over the grid."""
    away = curves - weights @ curves
    return float(np.sqrt(weights @ away**2).mean())


def _variants(build: pd.DataFrame, trials: dict[str, list[Any]]) -> pd.DataFrame:
    """Return the build once for each value of each field, all in one table: many are slow."""
    total, start = sum(map(len, trials.values())), 0
    columns = {}
    for name, values in trials.items():
        own = build[name].array
        column = [own[0]] * total
        column[start : start + len(values)] = values
        columns[name] = pd.array(column, dtype=own.dtype)
        start += len(values)
    return build.iloc[np.zeros(total, dtype=np.int64)].assign(**columns)
