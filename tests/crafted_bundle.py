"""Bundles as somebody with bad intent makes them: with hashes that fit whatever is in the files."""

from __future__ import annotations

import io
import json
import shutil
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.bundles import bundle_folder

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def sign(folder: Path, **changes: object) -> None:
    """Make the manifest fit the files again."""
    path = folder / bundle_folder.MANIFEST
    manifest = json.loads(path.read_text()) | changes
    if isinstance(manifest["files"], dict):
        for name in bundle_folder.FILES:
            manifest["files"][name] = bundle_folder.fingerprint((folder / name).read_bytes())
    manifest["id"] = bundle_folder.identity(manifest)
    path.write_text(bundle_folder.manifest_text(manifest))


def edit_text(folder: Path, name: str, old: str, new: str) -> None:
    """Replace a text in a file once, and make the manifest fit."""
    data = (folder / name).read_bytes()
    assert old.encode() in data
    (folder / name).write_bytes(
        data.replace(old.encode(), new.encode("utf-8", "surrogateescape"), 1)
    )
    sign(folder)


def edit_trees(folder: Path, old: str, new: str) -> None:
    """Replace a text in the trees once, and make the lengths in their head and the manifest fit.

    Otherwise whatever is changed would be found by its length alone.
    """
    path = folder / bundle_folder.CURVE
    text = path.read_text("ascii")
    assert old in text
    changed = text.replace(old, new, 1)
    path.write_bytes((changed if "tree_sizes=" in old else fit_sizes(changed)).encode("ascii"))
    sign(folder)


def fit_sizes(text: str) -> str:
    """Return the text of trees with the lengths of the trees in its head as they are."""
    head, *trees = text.partition("end of trees")[0].split("\nTree=")
    last = len(trees) - 1
    sizes = [len("Tree=") + len(tree) + (at < last) for at, tree in enumerate(trees)]
    line = next(one for one in head.split("\n") if one.startswith("tree_sizes="))
    return text.replace(line, f"tree_sizes={' '.join(map(str, sizes))}", 1)


def edit_arrays(
    folder: Path, change: Callable[[dict[str, Any]], None], name: str = "arrays.npz"
) -> None:
    """Change the arrays of a bundle, and make the manifest fit."""
    with np.load(folder / name) as archive:
        arrays = {one: archive[one] for one in archive.files}
    change(arrays)
    out = io.BytesIO()
    np.savez_compressed(out, **arrays)
    (folder / name).write_bytes(out.getvalue())
    sign(folder)


def copy(bundle: Path, to: Path) -> Path:
    """Copy a bundle."""
    shutil.copytree(bundle, to)
    return to
