"""The bundle: a trained model in a folder of plain files, checked before any of it is used.

Trees are LightGBM's own text, arrays (the process too) npz without pickle, tables parquet, the rest
JSON. The manifest lists every file with its length and SHA-256. What may be in each is checked in
`model/bundles/`; a loaded model must also reproduce a few stored curves, where the bundle is met
for the first time.
"""

from __future__ import annotations

import hashlib
import json
import platform
from importlib.metadata import version
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.bundles import bundle_folder, bundle_signature, first_met
from pullbook.model.bundles.bundle_folder import (
    ARRAYS,
    CURVE,
    FILES,
    FILLING,
    FORMAT,
    GOLDEN,
    MANIFEST,
    SHEETS,
    SIGNATURE,
    SPREAD,
    BundleError,
    Contents,
)
from pullbook.model.learning.sample import columns
from pullbook.model.limits import expected_error
from pullbook.model.trained.build_curves import curves_of
from pullbook.model.training import bundle_model
from pullbook.model.training.bundle_arrays import arrays_of
from pullbook.pipeline.curation.read_own import is_private
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.storage import whole_writes
from pullbook.schemas.fields import CURATED_FIELDS, WEATHER

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.privacy.signatures import Signer

__all__ = ["FILES", "FORMAT", "MANIFEST", "BundleError", "load", "read", "replay", "save"]

#: Fields of a sheet that no answer needs: when, in which weather and how it was tested.
_NOT_NEEDED = (
    *WEATHER, "tested_on", "coolant_temperature", "oil_temperature", "sweep_rate",
    "stated_correction", "correction_route",
)  # fmt: skip
_GOLDEN_SHEETS = 3
_TOLERANCE = 1e-6
_PACKAGES = ("lightgbm", "numpy", "pandas", "pullbook", "scikit-learn")


# --- saving -------------------------------------------------------------------------------


def save(
    model: Model, folder: Path, *, invented: bool = False, signer: Signer | None = None
) -> str:
    """Write a model into a folder, created if needed, and return the bundle's id.

    The same model gives the same bytes. The folder is written whole or not at all: a bundle that is
    in it stays until the new one is complete.

    Parameters
    ----------
    model
        The model.
    folder
        The folder; one that holds anything but a bundle is refused.
    invented
        Marks a model of invented data, and its answers say so.
    signer
        Who signs the bundle, if anybody.

    Raises
    ------
    BundleError
        The bundle would be too large, or the folder holds something else.

    """
    files = _files_of(model)
    bundle_folder.check_sizes(files)
    manifest: dict[str, Any] = {
        "format": FORMAT,
        "sheets": len(model.sheet_ids),
        "shops": len(model.shop_codes),
        "invented": invented,
        "private": is_private(model.fields),
        "columns": columns(feature_table.make(model.fields.head(1), model.filling)),
        "own_dyno": model.own_dyno,
        "settings": model.settings.as_dict(),
        "files": {name: bundle_folder.fingerprint(data) for name, data in files.items()},
        "made_with": {"python": platform.python_version()} | {p: version(p) for p in _PACKAGES},
    }
    manifest["id"] = bundle_folder.identity(manifest)
    files[MANIFEST] = bundle_folder.manifest_text(manifest).encode()
    digest = hashlib.sha256(files[MANIFEST]).hexdigest()
    if signer is not None:
        files[SIGNATURE] = bundle_signature.sign(signer, digest).encode()
    _write(folder, files)
    first_met.remember(digest)
    return str(manifest["id"])


def _files_of(model: Model) -> dict[str, bytes]:
    """Return the files of a bundle but for its manifest, in their order."""
    filling, arrays, sheets = BytesIO(), BytesIO(), BytesIO()
    feature_table.save_filling(model.filling, filling)
    np.savez_compressed(arrays, **arrays_of(model))  # type: ignore[arg-type]  # names are ours
    _sheets(model).to_parquet(sheets, index=False)
    return {
        CURVE: b"" if model.curve is None else model.curve.trees.text.encode(),
        SPREAD: b"" if model.spread is None else model.spread.text.encode(),
        FILLING: filling.getvalue(),
        ARRAYS: arrays.getvalue(),
        SHEETS: sheets.getvalue(),
        GOLDEN: json.dumps(_golden(model)).encode(),
    }


def _write(folder: Path, files: dict[str, bytes]) -> None:
    own = {MANIFEST, SIGNATURE, *FILES}
    try:
        other = next((p.name for p in folder.iterdir() if p.name not in own), None)
    except FileNotFoundError:
        other = None
    if other is not None:
        msg = f"{folder} holds {other!r}, which is no part of a bundle; name another folder"
        raise BundleError(msg)
    whole_writes.write_folder(folder, files, drop=own)


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


def read(folder: Path, trusted: frozenset[str] | None = None) -> Contents:
    """Return the files of a bundle that does no harm: one met before, or tried here now.

    Parameters
    ----------
    folder
        The bundle.
    trusted
        Public keys of which one must have signed it; ``None`` takes any bundle.

    Raises
    ------
    BundleError
        The folder holds no bundle, one of another format, or one that does not verify.

    """
    contents = bundle_folder.read(folder)
    bundle_signature.check(contents, trusted, folder)
    first_met.meet(folder, contents.digest)
    return contents


def load(folder: Path, trusted: frozenset[str] | None = None) -> tuple[Model, dict[str, Any]]:
    """Return the model of a bundle, and the main entries of its manifest; see `read`.

    Raises
    ------
    BundleError
        The folder holds no bundle, one of another format, or one that does not verify.

    """
    contents = read(folder, trusted)
    manifest = contents.manifest
    model = _checked_model(folder, contents)
    entries = ("sheets", "shops", "invented", "own_dyno")
    main = {"id": manifest["id"], "format": FORMAT} | {name: manifest[name] for name in entries}
    return model, main | {"private": bool(manifest.get("private", False))}


def replay() -> None:
    """Be the process in which a bundle is tried that is met for the first time."""
    first_met.in_trial(_try)


def _try(folder: Path, digest: str) -> None:
    contents = bundle_folder.read(folder)
    if contents.digest != digest:
        msg = f"the bundle {folder} was changed while it was read; try again"
        raise BundleError(msg)
    model = _checked_model(folder, contents)
    try:
        golden, kept = _golden(model), json.loads(contents.files[GOLDEN])
        same = set(kept) == set(golden) and all(_agree(golden[one], kept[one]) for one in golden)
    except Exception as fault:
        raise BundleError(_damaged(folder, fault)) from fault
    if not same:
        msg = (
            f"the bundle {folder} gives other curves here than where it was trained; train it"
            " again on this machine"
        )
        raise BundleError(msg)


def _damaged(folder: Path, fault: Exception) -> str:
    return (
        f"the bundle {folder} is damaged ({type(fault).__name__} while reading it); train it"
        " again or copy it again"
    )


def _checked_model(folder: Path, contents: Contents) -> Model:
    try:
        return bundle_model.model_of(contents.files, contents.manifest)
    except BundleError as fault:
        msg = str(fault).replace("the bundle ", f"the bundle {folder} ", 1)
        raise BundleError(msg) from fault
    except Exception as fault:  # a damaged file can make a parser raise anything
        raise BundleError(_damaged(folder, fault)) from fault


def _agree(given: Any, kept: Any) -> bool:
    if given is None or kept is None:
        return given is kept
    given, kept = np.asarray(given, dtype=float), np.asarray(kept, dtype=float)
    return given.shape == kept.shape and bool(np.allclose(given, kept, rtol=0, atol=_TOLERANCE))
