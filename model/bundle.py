"""The bundle: a trained model in a folder of plain files, checked before any of it is used.

Trees are LightGBM's own text, arrays (the process among them) npz without pickle, tables parquet,
the rest JSON. The manifest names every file with its length and SHA-256; the trees are checked for
soundness beyond that, because LightGBM's loader trusts its input; and a few curves are kept that a
loaded model must give again.
"""

from __future__ import annotations

import hashlib
import json
import platform
from dataclasses import fields
from importlib.metadata import version
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model import settings, spread, together, tree_text, trees
from model.calibration import REGIME_PARTS, Regime
from model.conformal import Scores
from model.curve import CurveModel
from model.novelty import Reference, seen_choices
from model.pairs import PAIR_PARTS, Pairs, PairScores
from model.process import Process
from model.sample import columns
from model.training import Model
from pipeline import feature_table
from schemas.fields import CURATED_FIELDS

FORMAT = 3
MANIFEST = "bundle.json"
CURVE, SPREAD = "curve.txt", "spread.txt"
FILLING, ARRAYS, SHEETS, GOLDEN = "filling.npz", "arrays.npz", "sheets.parquet", "golden.json"
_FILES = (CURVE, SPREAD, FILLING, ARRAYS, SHEETS, GOLDEN)
_LARGEST = 1 << 30
_GOLDEN_SHEETS = 3
_TOLERANCE = 1e-6
_REGIMES = ("new_shop", "known_shop")
_COUPLES = ("one_shop", "two_shops")
_PACKAGES = ("lightgbm", "numpy", "pandas", "pullbook", "scikit-learn")

Arrays = dict[str, NDArray[Any]]


class BundleError(ValueError):
    """A bundle that does not verify; the message says what is wrong with it."""


# --- saving -------------------------------------------------------------------------------


def save(model: Model, folder: Path, *, invented: bool = False) -> str:
    """Write a model into a folder, made if need be, and return the bundle's id.

    Same model, same bytes. ``invented`` marks a model of invented data; its answers say so.
    """
    folder.mkdir(parents=True, exist_ok=True)
    (folder / CURVE).write_text(model.curve.trees.text, encoding="utf-8")
    (folder / SPREAD).write_text(
        "" if model.spread is None else model.spread.text, encoding="utf-8"
    )
    feature_table.save_filling(model.filling, folder / FILLING)
    with (folder / ARRAYS).open("wb") as file:
        np.savez_compressed(file, **_arrays(model))  # type: ignore[arg-type]  # names are ours
    _sheets(model).to_parquet(folder / SHEETS, index=False)
    (folder / GOLDEN).write_text(json.dumps(_golden(model)), encoding="utf-8")
    files = {name: _fingerprint((folder / name).read_bytes()) for name in _FILES}
    manifest: dict[str, Any] = {
        "format": FORMAT,
        "sheets": len(model.sheet_ids),
        "shops": len(model.shop_codes),
        "invented": invented,
        "columns": list(model.curve.columns),
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
    told = {name: value for name, value in manifest.items() if name != "id"}
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:16]


def _arrays(model: Model) -> Arrays:
    reference = model.reference
    arrays: Arrays = {
        "speeds": model.curve.speeds,
        "share": np.array(model.curve.share),
        **{f"process.{name}": _array(part) for name, part in _parts(model.curve.process)},
        "names": np.array(reference.names, dtype=np.str_),
        "center": reference.center,
        "scale": reference.scale,
        "relevance": reference.relevance,
        "places": reference.places,
        "shop": reference.shop,
        "thresholds": np.array([reference.edge, reference.outside]),
        "together": np.array(model.together.limits),
        "ranged": np.array(list(reference.ranges), dtype=np.str_),
        "ranges": np.array(list(reference.ranges.values())),
        "shop_codes": np.array(model.shop_codes, dtype=np.str_),
        "shop_offsets": model.shop_offsets,
        "sweeps": model.sweeps,
    }
    for name in _REGIMES:
        regime = getattr(model, name)
        for part in REGIME_PARTS if regime is not None else ():
            arrays |= _scores_as(f"{name}.{part}", getattr(regime, part))
    for name in _COUPLES if model.pairs is not None else ():
        for part in PAIR_PARTS:
            scores = getattr(getattr(model.pairs, name), part)
            arrays |= _scores_as(f"pairs.{name}.{part}", scores)
        couple = getattr(model.pairs, name)
        arrays[f"pairs.{name}.likeness"] = np.array([couple.likeness, couple.reach])
    return arrays


def _scores_as(name: str, scores: Scores) -> Arrays:
    return {
        f"{name}.values": scores.values,
        f"{name}.mass": scores.mass,
        f"{name}.shops": np.array(scores.shops),
    }


def _parts(fitted: Process) -> list[tuple[str, Any]]:
    return [(field.name, getattr(fitted, field.name)) for field in fields(fitted)]


def _array(part: Any) -> NDArray[Any]:
    return np.array(part, dtype=np.str_) if isinstance(part, tuple) else np.asarray(part)


def _sheets(model: Model) -> pd.DataFrame:
    """The builds as they were given, but for what is told elsewhere or not needed."""
    return model.fields[list(CURATED_FIELDS)]


def _golden(model: Model) -> dict[str, Any]:
    """Curves and spreads of a few sheets, which a loaded model must give again."""
    few = feature_table.make(model.fields.head(_GOLDEN_SHEETS), model.filling)
    golden: dict[str, Any] = {"curves": model.curve.curves(few).tolist(), "spreads": None}
    if model.spread is not None:
        near = np.zeros(len(few))
        golden["spreads"] = spread.expected(model.spread, model.curve.speeds, few, near).tolist()
    return golden


# --- loading ------------------------------------------------------------------------------


def load(folder: Path) -> tuple[Model, dict[str, Any]]:
    """Return the model of a bundle, and what its manifest tells of it.

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
    except Exception as fault:  # whatever a damaged file makes a parser raise
        msg = f"the bundle {folder} is damaged: {type(fault).__name__} while reading it"
        raise BundleError(msg) from fault
    if not same:
        msg = f"the bundle {folder} does not give its own curves again; train it anew here"
        raise BundleError(msg)
    told = {"id": manifest["id"], "format": FORMAT}
    return model, told | {name: manifest[name] for name in ("sheets", "shops", "invented")}


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
            f"{folder} holds no bundle ({MANIFEST} cannot be read); make one with: pullbook train,"
            " or put one in use there with: pullbook promote"
        )
        raise BundleError(msg) from fault
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        found = manifest.get("format") if isinstance(manifest, dict) else None
        msg = f"the bundle {folder} is of format {found!r}; this pullbook reads format {FORMAT}"
        raise BundleError(msg)
    if manifest.get("id") != _identity(manifest):
        msg = f"the bundle {folder} does not verify: {MANIFEST} was changed"
        raise BundleError(msg)
    return manifest


def _bytes(path: Path) -> bytes:
    if path.stat().st_size > _LARGEST:
        msg = f"{path.name} is larger than any bundle's"
        raise ValueError(msg)
    return path.read_bytes()


def _verified(folder: Path, manifest: dict[str, Any], name: str) -> bytes:
    try:
        data = _bytes(folder / name)
    except (OSError, ValueError) as fault:
        msg = f"the bundle {folder} does not verify: {name} cannot be read"
        raise BundleError(msg) from fault
    if manifest.get("files", {}).get(name) != _fingerprint(data):
        msg = f"the bundle {folder} does not verify: {name} was changed or cut short"
        raise BundleError(msg)
    return data


def _model(files: dict[str, bytes], manifest: dict[str, Any]) -> Model:
    names = tuple(str(name) for name in manifest["columns"])
    builds = pd.read_parquet(BytesIO(files[SHEETS]))
    filling = feature_table.load_filling(BytesIO(files[FILLING]))
    with np.load(BytesIO(files[ARRAYS]), allow_pickle=False) as archive:
        arrays = {name: archive[name] for name in archive.files}
    expected = columns(feature_table.make(builds.head(1), filling))
    if list(names) != expected:
        msg = "the bundle was made with other features than this pullbook's; train it anew"
        raise BundleError(msg)
    return Model(
        settings=settings.from_mapping(manifest["settings"]),
        filling=filling,
        curve=CurveModel(
            trees=_trees(files[CURVE], len(names)),
            process=_process(arrays, set(names)),
            share=float(arrays["share"]),
            speeds=arrays["speeds"],
            columns=names,
        ),
        spread=_trees(files[SPREAD], len(names) + len(spread.EXTRA)) if files[SPREAD] else None,
        reference=_reference(arrays, builds),
        together=together.learn(builds, tuple(arrays["together"].tolist())),
        new_shop=_regime(arrays, "new_shop"),
        known_shop=_regime(arrays, "known_shop"),
        pairs=_pairs(arrays),
        shop_codes=tuple(arrays["shop_codes"].tolist()),
        shop_offsets=arrays["shop_offsets"],
        sheet_ids=tuple(builds["sheet_id"]),
        sweeps=arrays["sweeps"],
        fields=builds,
    )


def _process(arrays: Arrays, names: set[str]) -> Process:
    parts = {field.name: arrays[f"process.{field.name}"] for field in fields(Process)}
    columns_ = tuple(parts.pop("columns").tolist())
    level = float(parts.pop("level"))
    inputs, points = len(columns_), len(parts["weights"])
    shapes = {"places": (points, inputs), "weights": (points,), "speeds": (points,)}
    for name, part in parts.items():
        sound = part.shape == shapes.get(name, (inputs,)) and bool(np.isfinite(part).all())
        if not sound or not set(columns_) <= names:
            msg = f"the bundle does not verify: its process has no sound {name}"
            raise BundleError(msg)
    return Process(columns=columns_, level=level, **parts)


def _trees(data: bytes, count: int) -> trees.Trees:
    text = data.decode("utf-8")
    try:
        tree_text.check(text, count)
    except tree_text.DamagedTreesError as fault:
        msg = f"the bundle does not verify: {fault}"
        raise BundleError(msg) from fault
    return trees.Trees(text)


def _reference(arrays: Arrays, builds: pd.DataFrame) -> Reference:
    edge, outside = arrays["thresholds"].tolist()
    return Reference(
        names=tuple(arrays["names"].tolist()),
        center=arrays["center"],
        scale=arrays["scale"],
        relevance=arrays["relevance"],
        places=arrays["places"],
        shop=arrays["shop"],
        edge=edge,
        outside=outside,
        ranges=dict(
            zip(arrays["ranged"].tolist(), map(tuple, arrays["ranges"].tolist()), strict=True)
        ),
        seen=seen_choices(builds),
    )


def _regime(arrays: Arrays, name: str) -> Regime | None:
    if f"{name}.{REGIME_PARTS[0]}.values" not in arrays:
        return None
    return Regime(**{part: _scores(arrays, f"{name}.{part}") for part in REGIME_PARTS})


def _pairs(arrays: Arrays) -> Pairs | None:
    if f"pairs.{_COUPLES[0]}.{PAIR_PARTS[0]}.values" not in arrays:
        return None
    return Pairs(
        **{
            name: PairScores(
                **{part: _scores(arrays, f"pairs.{name}.{part}") for part in PAIR_PARTS},
                likeness=float(arrays[f"pairs.{name}.likeness"][0]),
                reach=float(arrays[f"pairs.{name}.likeness"][1]),
            )
            for name in _COUPLES
        }
    )


def _scores(arrays: Arrays, name: str) -> Scores:
    return Scores(arrays[f"{name}.values"], arrays[f"{name}.mass"], int(arrays[f"{name}.shops"]))
