"""Predicting: from builds to the prediction of each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.answers import missing_fields
from pullbook.model.answers.prediction import BuildCurves, Prediction
from pullbook.model.learning.sample import charge
from pullbook.model.limits import expected_error
from pullbook.model.range import inside_or_outside, novelty
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel.garbage_collection import uncollected
from pullbook.schemas.answer import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from pullbook.model.learning.sample import Floats
    from pullbook.model.training.train_model import Model

DEFAULT_LEVEL = 0.9
DEFAULT_RPM = (2000.0, 6500.0, 250.0)
#: With more builds at once, the effect of missing fields is not worked out.
MOST_LOOKED_INTO = 20
#: Number of nearest sheets that decide whether an engine speed is supported.
_NEAREST = 12
#: Smallest and largest factor by which the limits of a build outside the data are widened.
_LEAST_WIDER, _MOST_WIDER = 1.5, 4.0
_SIZES = ("displacement", "cylinder_displacement")


def speeds_of(low: float, high: float, step: float) -> Floats:
    """Return engine speeds from low to high; high is included if the steps reach it.

    >>> speeds_of(2000, 3000, 500).tolist()
    [2000.0, 2500.0, 3000.0]
    """
    return np.arange(low, high + step * 1e-9, step)


def predict(
    model: Model,
    builds: pd.DataFrame,
    shops: Sequence[str | None],
    manifest: Mapping[str, Any] | None = None,
    *,
    look_into_missing: bool = False,
) -> list[Prediction]:
    """Return the predictions of builds, in their order.

    Parameters
    ----------
    model
        The model.
    builds
        Typed builds, as `build_table.typed_builds` returns them.
    shops
        The code of the shop that would test each build, or ``None``.
    manifest
        The entries of the bundle's manifest.
    look_into_missing
        Whether to work out, for at most `MOST_LOOKED_INTO` builds, how far each missing field could
        move the curve.

    """
    with uncollected():
        return _predict(model, builds, shops, manifest or {}, look_into_missing)


def curves_of(model: Model, builds: pd.DataFrame) -> BuildCurves:
    """Return the curves of many builds in one batch, without limits or standing."""
    table = feature_table.make(builds, model.filling)
    return BuildCurves(model.curve.speeds, model.curve.curves(table), np.asarray(charge(table)))


def _predict(
    model: Model,
    builds: pd.DataFrame,
    shops: Sequence[str | None],
    manifest: Mapping[str, Any],
    look: bool,
) -> list[Prediction]:
    table = feature_table.make(builds, model.filling)
    curves = model.curve.curves(table)
    distances, positions = model.reference.nearest(table, _NEAREST)
    distance = novelty.mean_distance(distances)
    spreads = (
        np.zeros_like(curves)
        if model.spread is None
        else expected_error.expected(model.spread, model.curve.speeds, table, distance)
    )
    known = {code: i for i, code in enumerate(model.shop_codes)}
    charges = charge(table).tolist()
    places = model.reference.places_of(table)
    unseen = model.combinations.find_unseen(builds)
    sizes = table[list(_SIZES)]
    of_builds = inside_or_outside.reasons(model.reference, builds, sizes, distance, unseen)
    names = builds["sheet_id"].astype(str).tolist()
    swings = missing_fields.not_given(builds)
    if look and len(builds) <= MOST_LOOKED_INTO:
        swings = [
            missing_fields.swings(model, builds.iloc[[i]], positions[i]) for i in range(len(builds))
        ]
    predictions = []
    for i, reasons in enumerate(of_builds):
        shop = known.get(shops[i] or "")
        standing = inside_or_outside.standing(reasons)
        outside = standing is Standing.OUTSIDE
        widened = _widened(model, float(distance[i])) if outside else 1.0
        predictions.append(
            Prediction(
                sheet_id=names[i],
                speeds=model.curve.speeds,
                log_torque=curves[i] + (0.0 if shop is None else model.shop_offsets[shop]),
                spread=spreads[i] * widened,
                size=charges[i],
                regime=model.new_shop if shop is None else model.known_shop,
                known_shop=shop is not None,
                sweeps=model.sweeps[positions[i]],
                nearest=positions[i],
                near_names=tuple(model.sheet_ids[position] for position in positions[i]),
                distances=distances[i],
                reasons=reasons,
                standing=standing,
                widened=widened,
                place=places[i],
                swings=tuple(swings[i]),
                bundle=manifest,
            )
        )
    return predictions


def _widened(model: Model, distance: float) -> float:
    beyond = distance / model.reference.outside
    return float(np.clip(_LEAST_WIDER * max(1.0, beyond), _LEAST_WIDER, _MOST_WIDER))
