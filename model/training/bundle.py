"""The bundle: a trained model in a folder of plain files, checked before any of it is used.

Trees are LightGBM's own text, arrays (the process too) npz without pickle, tables parquet, the rest
JSON. The manifest lists every file with its length and SHA-256. The trees are checked
further, because LightGBM's loader does not check its input. A loaded model must also reproduce a
few stored curves.
"""

from __future__ import annotations

import hashlib
import json
import platform
from dataclasses import replace
from importlib.metadata import version
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

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
from pullbook.model.trained.engines import curves_of
from pullbook.model.trained.known_sheets import start_curves
from pullbook.model.trained.trained_model import Model
from pullbook.model.training.bundle_arrays import (
    BundleError,
    arrays_of,
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
from pullbook.schemas import curated_tables
from pullbook.schemas.fields import CURATED_FIELDS, WEATHER

FORMAT = 5
MANIFEST = "bundle.json"
#: Fields of a sheet that no answer needs: when, in which weather and how it was tested.
_NOT_NEEDED = (
    *WEATHER, "tested_on", "coolant_temperature", "oil_temperature", "sweep_rate",
    "stated_correction", "correction_route",
)  # fmt: skip
CURVE, SPREAD = "curve.txt", "spread.txt"
FILLING, ARRAYS, SHEETS, GOLDEN = "filling.npz", "arrays.npz", "sheets.parquet", "golden.json"
_FILES = (CURVE, SPREAD, FILLING, ARRAYS, SHEETS, GOLDEN)
_LARGEST = 1 << 30
_GOLDEN_SHEETS = 3
_TOLERANCE = 1e-6
_PACKAGES = ("lightgbm", "numpy", "pandas", "pullbook", "scikit-learn")


# --- saving -------------------------------------------------------------------------------


def save(model: Model, folder: Path, *, invented: bool = False) -> str:
    """Write a model into a folder, created if needed, and return the bundle's id.

    The same model gives the same bytes. ``invented`` marks a model of invented data, and its
    answers say so.
    """
    folder.mkdir(parents=True, exist_ok=True)
    trees = "" if model.curve is None else model.curve.trees.text
    (folder / CURVE).write_text(trees, encoding="utf-8")
    (folder / SPREAD).write_text(
        "" if model.spread is None else model.spread.text, encoding="utf-8"
    )
    feature_table.save_filling(model.filling, folder / FILLING)
    with (folder / ARRAYS).open("wb") as file:
        np.savez_compressed(file, **arrays_of(model))  # type: ignore[arg-type]  # names are ours
    _sheets(model).to_parquet(folder / SHEETS, index=False)
    (folder / GOLDEN).write_text(json.dumps(_golden(model)), encoding="utf-8")
    files = {name: _fingerprint((folder / name).read_bytes()) for name in _FILES}
    manifest: dict[str, Any] = {
        "format": FORMAT,
        "sheets": len(model.sheet_ids),
        "shops": len(model.shop_codes),
        "invented": invented,
        "private": is_private(model.fields),
        "columns": columns(feature_table.make(model.fields.head(1), model.filling)),
        "own_dyno": model.own_dyno,
        "settings": model.settings.as_dict(),
        "files": files,
        "made_with": {"python": platform.python_version()} | {p: version(p) for p in _PACKAGES},
    }
    manifest["id"] = _identity(manifest)
    (folder / MANIFEST).write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8")
    return str(manifest["id"])


def _fingerprint(data: bytes) -> dict[str, Any]:
    return {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}


def _identity(manifest: dict[str, Any]) -> str:
    content = {name: value for name, value in manifest.items() if name != "id"}
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]


def _sheets(model: Model) -> pd.DataFrame:
    """The builds as given, without what no answer needs: a bundle may be passed on."""
    return model.fields[[name for name in CURATED_FIELDS if name not in _NOT_NEEDED]]


def _golden(model: Model) -> dict[str, Any]:
    """Curves and expected errors of a few sheets, which a loaded model must reproduce."""
    head = model.fields.head(_GOLDEN_SHEETS)
    few = feature_table.make(head, model.filling)
    curves = curves_of(model, head).log_torque
    golden: dict[str, Any] = {"curves": curves.tolist(), "spreads": None}
    if model.spread is not None:
        near = np.zeros(len(few))
        golden["spreads"] = expected_error.expected(model.spread, model.speeds, few, near).tolist()
    return golden


# --- loading ------------------------------------------------------------------------------


def load(folder: Path) -> tuple[Model, dict[str, Any]]:
    """Return the model of a bundle, and the main entries of its manifest.

    Raises
    ------
    BundleError
        The folder holds no bundle, one of another format, or one that does not verify.

    """
    manifest = _manifest(folder)
    files = {name: _verified(folder, manifest, name) for name in _FILES}
    try:
        model = _model(files, manifest)
        golden, kept = _golden(model), json.loads(files[GOLDEN])
        same = all(_agree(golden[name], kept[name]) for name in golden)
    except BundleError:
        raise
    except Exception as fault:  # a damaged file can make a parser raise anything
        msg = (
            f"the bundle {folder} is damaged ({type(fault).__name__} while reading it); train it"
            " again or copy it again"
        )
        raise BundleError(msg) from fault
    if not same:
        msg = (
            f"the bundle {folder} gives other curves here than where it was trained; train it"
            " again on this machine"
        )
        raise BundleError(msg)
    entries = ("sheets", "shops", "invented", "own_dyno")
    main = {"id": manifest["id"], "format": FORMAT} | {name: manifest[name] for name in entries}
    return model, main | {"private": bool(manifest.get("private", False))}


def _agree(given: Any, kept: Any) -> bool:
    if given is None or kept is None:
        return given is kept
    given, kept = np.asarray(given, dtype=float), np.asarray(kept, dtype=float)
    return given.shape == kept.shape and bool(np.allclose(given, kept, rtol=0, atol=_TOLERANCE))


def _manifest(folder: Path) -> dict[str, Any]:
    try:
        manifest = json.loads(_bytes(folder / MANIFEST))
    except (OSError, ValueError, RecursionError) as fault:
        msg = (
            f"{folder} holds no bundle ({MANIFEST} cannot be read); train one with: pullbook train,"
            " or put one in use there with: pullbook promote"
        )
        raise BundleError(msg) from fault
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        found = manifest.get("format") if isinstance(manifest, dict) else None
        newer = isinstance(found, int) and found > FORMAT
        cure = (
            "update pullbook"
            if newer
            else "train it again from the curated sheets: pullbook train CURATED --out BUNDLE"
        )
        msg = (
            f"the bundle {folder} has format {found!r}, and this pullbook reads format"
            f" {FORMAT}; {cure}"
        )
        raise BundleError(msg)
    if manifest.get("id") != _identity(manifest):
        msg = f"the bundle {folder} does not verify: {MANIFEST} was changed; copy it again"
        raise BundleError(msg)
    return manifest


def _bytes(path: Path) -> bytes:
    if path.stat().st_size > _LARGEST:
        msg = f"{path.name} is too large for a file of a bundle"
        raise ValueError(msg)
    return path.read_bytes()


def _verified(folder: Path, manifest: dict[str, Any], name: str) -> bytes:
    try:
        data = _bytes(folder / name)
    except (OSError, ValueError) as fault:
        msg = f"the bundle {folder} does not verify: {name} cannot be read; copy it again"
        raise BundleError(msg) from fault
    if manifest.get("files", {}).get(name) != _fingerprint(data):
        msg = f"the bundle {folder} does not verify: {name} was changed or cut short; copy it again"
        raise BundleError(msg)
    return data


def _model(files: dict[str, bytes], manifest: dict[str, Any]) -> Model:
    names = tuple(str(name) for name in manifest["columns"])
    builds = curated_tables.complete(pd.read_parquet(BytesIO(files[SHEETS])))
    filling = feature_table.load_filling(BytesIO(files[FILLING]))
    with np.load(BytesIO(files[ARRAYS]), allow_pickle=False) as archive:
        arrays = {name: archive[name] for name in archive.files}
    expected = columns(feature_table.make(builds.head(1), filling))
    if list(names) != expected:
        msg = (
            "the bundle uses other features than this pullbook; train it again with: pullbook train"
        )
        raise BundleError(msg)
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
    text = data.decode("utf-8")
    try:
        tree_text.check(text, count)
    except tree_text.DamagedTreesError as fault:
        msg = f"the bundle does not verify: {fault}"
        raise BundleError(msg) from fault
    return boosted_trees.Trees(text)
