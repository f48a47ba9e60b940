"""The files of a bundle, read and hashed before, as the model that they hold.

Every file is checked further here: trees by `tree_text`, arrays by `array_checks`, the table of
builds by `sheets_table`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.bundles import array_checks, sheets_table
from pullbook.model.bundles.bundle_folder import (
    ARRAYS,
    CURVE,
    FILLING,
    LIMITS,
    MANIFEST,
    SHEETS,
    SPREAD,
    BundleError,
)
from pullbook.model.learning import (
    boosted_trees,
    effect_points,
    effects,
    settings,
    smooth_curves,
    tree_text,
)
from pullbook.model.learning.curve_model import CurveModel
from pullbook.model.learning.sample import columns
from pullbook.model.limits import expected_error
from pullbook.model.range import unseen_combinations
from pullbook.model.trained.known_sheets import start_curves
from pullbook.model.trained.trained_model import Model
from pullbook.model.training.bundle_arrays import (
    changes_of,
    effects_of,
    pairs_of,
    process_of,
    reference_of,
    regimes_of,
    start_reference_of,
)
from pullbook.pipeline.curation.read_own import is_private
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.storage import plain_arrays

if TYPE_CHECKING:
    import pandas as pd

    from pullbook.pipeline.features.fill_missing import Filling


def model_of(files: dict[str, bytes], manifest: dict[str, Any]) -> Model:
    """Return the model of a bundle.

    Raises
    ------
    BundleError
        A file does not hold what a bundle's file must.

    """
    names = tuple(manifest["columns"])
    builds = sheets_table.read(files[SHEETS])
    filling = _filling(files[FILLING])
    table = feature_table.make(builds.head(1), filling)
    if list(names) != columns(table):
        msg = (
            "the bundle uses other features than this pullbook; train it again with: pullbook train"
        )
        raise BundleError(msg)
    arrays = _arrays(files[ARRAYS], ARRAYS)
    array_checks.check(arrays, [*names, *table], len(builds), curve=bool(files[CURVE]))
    _check_counts(manifest, arrays, builds)
    curve = None
    if files[CURVE]:
        curve = CurveModel(
            trees=_trees(files[CURVE], len(names)),
            process=process_of(arrays, set(names)),
            share=float(arrays["share"]),
            speeds=arrays["curve.speeds"],
            columns=names,
        )
    inputs, constants, readings = effects_of(arrays, builds)
    model = Model(
        settings=settings.from_mapping(manifest["settings"]),
        filling=filling,
        speeds=arrays["speeds"],
        curve=curve,
        effects=effects.unconditioned(inputs, constants),
        readings=readings,
        own_dyno=bool(arrays["own_dyno"]),
        spread=_trees(files[SPREAD], len(names) + len(expected_error.EXTRA))
        if files[SPREAD]
        else None,
        reference=reference_of(arrays),
        start_reference=start_reference_of(arrays),
        combinations=unseen_combinations.learn(builds, tuple(arrays["together"].tolist())),
        regimes=regimes_of(arrays),
        pairs=pairs_of(arrays),
        shop_codes=tuple(arrays["shop_codes"].tolist()),
        shop_offsets=arrays["shop_offsets"],
        sheet_ids=tuple(builds["sheet_id"]),
        sweeps=arrays["sweeps"],
        fields=builds,
        changes=changes_of(arrays),
    )
    return _with_effects(model)


def _arrays(data: bytes, name: str) -> plain_arrays.Arrays:
    try:
        return plain_arrays.read(data, LIMITS[name])
    except plain_arrays.ArraysError as fault:
        msg = f"the bundle does not verify: {name} cannot be read ({fault}); copy it again"
        raise BundleError(msg) from fault


def _filling(data: bytes) -> Filling:
    arrays = _arrays(data, FILLING)
    filling = feature_table.filling_of(arrays)
    count = len(filling.names)
    square = filling.covariance
    sound = (
        set(arrays) == {"names", "center", "scale", "covariance"}
        and filling.center.shape == filling.scale.shape == (count,)
        and square.shape == (count, count)
        and bool((filling.scale > 0).all())
        and bool(np.allclose(square, square.T, rtol=1e-6, atol=1e-9))
    )
    if not sound:
        msg = f"the bundle does not verify: {FILLING} is not valid; train it again"
        raise BundleError(msg)
    return filling


def _check_counts(
    manifest: dict[str, Any], arrays: plain_arrays.Arrays, builds: pd.DataFrame
) -> None:
    """Check that the manifest says of the model what is so."""
    said = {name: manifest[name] for name in ("sheets", "shops", "own_dyno")}
    found = {
        "sheets": len(builds),
        "shops": len(arrays["shop_codes"]),
        "own_dyno": bool(arrays["own_dyno"]),
    }
    if said != found or is_private(builds) != manifest.get("private", False):
        msg = (
            f"the bundle does not verify: {MANIFEST} says otherwise than its files; train it again"
        )
        raise BundleError(msg)


def _with_effects(model: Model) -> Model:
    """Return a model whose effects know what was measured, as when it was trained."""
    table = feature_table.make(model.fields, model.filling)
    curves, given = start_curves(model, table), model.readings
    readings = replace(
        given,
        places=model.effects.inputs.places(table),
        labels=effect_points.labels_of(model.fields),
        start=smooth_curves.at(curves, model.speeds, given.sheet, np.exp(given.speed)),
    )
    process = model.effects.conditioned(readings) if model.own_dyno else model.effects
    return replace(model, readings=readings, effects=process)


def _trees(data: bytes, count: int) -> boosted_trees.Trees:
    try:
        text = data.decode("latin-1")  # one character a byte: the check sees every byte
        tree_text.check(text, count)
    except tree_text.DamagedTreesError as fault:
        msg = f"the bundle does not verify: {fault}"
        raise BundleError(msg) from fault
    return boosted_trees.Trees(text)
