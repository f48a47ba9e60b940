"""Ways to damage a bundle, and to craft one: seeded, so that each can be made again by its number.

Whoever crafts a bundle makes its hashes fit, the lengths of its trees, and often its stored curves.
"""

from __future__ import annotations

import io
import json
import random
import zipfile
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import crafted_bundle
import numpy as np
import pandas as pd

from pullbook.model.bundles import bundle_folder
from pullbook.model.training import bundle, bundle_model

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_NUMBERS = (
    "0", "-1", "1", "2", "nan", "inf", "1e999", "9" * 30, "2147483648", "-0", "1e-400", "0x1",
    "1_0", "1e300", "-0.5", "17.25", "", " ",
)  # fmt: skip
_VALUES = (np.nan, np.inf, -np.inf, 0.0, -1.0, 1e300, 1e-300, 0.5, 1e12, -1e9, 3000.0)
_WHOLE = (0, -1, 1, 7, 10**9, 2**62)
_ODD: tuple[Any, ...] = (0, -1, [], {}, None, "x", 10**30, True, [1], {"a": 1}, 60, 12, "\0")


def damage(folder: Path, rng: random.Random) -> None:
    """Change a file of a bundle in one of the ways that disks and people have."""
    path = folder / rng.choice([bundle_folder.MANIFEST, *bundle_folder.FILES])
    data = bytearray(path.read_bytes())
    at, kind = rng.randrange(len(data)), rng.randrange(6)
    if kind == 0:
        data[at] ^= 1 << rng.randrange(8)
    elif kind == 1:
        del data[at:]
    elif kind == 2:
        data[at:at] = rng.randbytes(rng.randint(1, 40))
    elif kind == 3:
        del data[at : at + rng.randint(1, 400)]
    elif kind == 4:
        data = bytearray(rng.randbytes(rng.randint(0, 3000)))
    else:
        path.unlink()
        return
    path.write_bytes(bytes(data))


def craft(folder: Path, rng: random.Random) -> str:
    """Change what is in a bundle once or a few times, and make it fit; return how."""
    kinds = rng.choices(list(KINDS), weights=list(KINDS.values()), k=rng.choice([1, 1, 1, 2, 3]))
    for kind in kinds:
        with suppress(Exception):  # an earlier change left nothing there to change
            kind(folder, rng)
    crafted_bundle.sign(folder)
    if rng.random() < 0.5:
        _fit_curves(folder)
    return ", ".join(kind.__name__.strip("_") for kind in kinds)


def _fit_curves(folder: Path) -> None:
    """Store the curves that the bundle gives as those it gave where it was trained."""
    try:
        contents = bundle_folder.read(folder)
        golden = bundle._golden(bundle_model.model_of(contents.files, contents.manifest))
    except Exception:
        return
    (folder / bundle_folder.GOLDEN).write_text(json.dumps(golden))
    crafted_bundle.sign(folder)


# --- trees ----------------------------------------------------------------------------------


def _tree_entry(folder: Path, rng: random.Random) -> None:
    def change(entries: list[str]) -> list[str]:
        entries[rng.randrange(len(entries))] = rng.choice(_NUMBERS)
        return entries

    _edit_line(folder, rng, change)


def _tree_line(folder: Path, rng: random.Random) -> None:
    def change(entries: list[str]) -> list[str]:
        return rng.choice([sorted(entries), entries[::-1], entries * 2, entries[:-1],
                           [entries[0]] * len(entries)])  # fmt: skip

    _edit_line(folder, rng, change)


def _edit_line(folder: Path, rng: random.Random, change: Callable[[list[str]], list[str]]) -> None:
    name = rng.choice([bundle_folder.CURVE, bundle_folder.SPREAD])
    lines = (folder / name).read_text().split("\n")
    at = rng.choice([i for i, line in enumerate(lines) if "=" in line])
    label, _, values = lines[at].partition("=")
    lines[at] = f"{label}={' '.join(change(values.split(' ')))}"
    (folder / name).write_text(crafted_bundle.fit_sizes("\n".join(lines)))


def _leaves(folder: Path, rng: random.Random) -> None:
    """Multiply the leaves of every tree: a bundle that is sound and answers otherwise."""
    path, factor = folder / bundle_folder.CURVE, rng.choice([-1, 0.5, 1.01, 3, 1e5])
    lines = path.read_text().split("\n")
    for at, line in enumerate(lines):
        if line.startswith("leaf_value="):
            values = [repr(float(v) * factor) for v in line.partition("=")[2].split(" ")]
            lines[at] = f"leaf_value={' '.join(values)}"
    path.write_text(crafted_bundle.fit_sizes("\n".join(lines)))


# --- arrays ---------------------------------------------------------------------------------


def _array_value(folder: Path, rng: random.Random) -> None:
    crafted_bundle.edit_arrays(folder, lambda arrays: _harm(arrays, rng))


def _filling_value(folder: Path, rng: random.Random) -> None:
    crafted_bundle.edit_arrays(folder, lambda arrays: _harm(arrays, rng), "filling.npz")


def _harm(arrays: dict[str, Any], rng: random.Random) -> None:
    name = rng.choice(sorted(arrays))
    array = np.array(arrays[name])
    for _ in range(rng.choice([1, 1, 4])):
        if array.dtype.kind == "f" and array.size:
            at, old = rng.randrange(array.size), array.flat[0]
            array.flat[at] = rng.choice([*_VALUES, old, old * 1.5, array.flat[at] * 1.01])
        elif array.dtype.kind == "i" and array.size:
            array.flat[rng.randrange(array.size)] = rng.choice(_WHOLE)
        elif array.dtype.kind == "b":
            array = ~array
        elif array.size:
            texts = ["", "bore", "\0", str(array.flat[0])]
            array.flat[rng.randrange(array.size)] = rng.choice(texts)
    arrays[name] = array


def _array_shape(folder: Path, rng: random.Random) -> None:
    def change(arrays: dict[str, Any]) -> None:
        name, other = rng.choice(sorted(arrays)), rng.choice(sorted(arrays))
        array = np.array(arrays[name])
        flat = np.atleast_1d(array)
        made = [
            array[..., None], np.concatenate([flat, flat]), array.T, flat[:0], flat[::-1],
            flat[: max(1, array.size // 2)], np.sort(array, axis=None), arrays[other],
            array.astype(np.float32 if array.dtype.kind == "f" else array.dtype),
        ]  # fmt: skip
        arrays[name] = made[rng.randrange(len(made))]

    crafted_bundle.edit_arrays(folder, change)


def _scaled(folder: Path, rng: random.Random) -> None:
    """Multiply an array: often sound, and then the answer is another."""

    def change(arrays: dict[str, Any]) -> None:
        name = rng.choice([n for n in sorted(arrays) if arrays[n].dtype.kind == "f"])
        arrays[name] = arrays[name] * rng.choice([0.5, 1.0001, 1.5, 2.0, -1.0, 1e6])

    crafted_bundle.edit_arrays(folder, change)


def _own_dyno(folder: Path, _: random.Random) -> None:
    """Say that the data is of few shops, so that every reading is taken into account."""
    crafted_bundle.edit_arrays(folder, lambda arrays: arrays.update(own_dyno=np.array(True)))
    crafted_bundle.sign(folder, own_dyno=True)


def _large(folder: Path, rng: random.Random) -> None:
    """Fill a bundle up to what its arrays may have, and beyond."""
    times = rng.choice([11, 66, 70])

    def change(arrays: dict[str, Any]) -> None:
        kind = rng.choice(["process.", "readings.", "new shop.point."])
        for name in [one for one in arrays if one.startswith(kind)]:
            if (
                arrays[name].ndim
                and name not in {"readings.doubt", "process.columns"}
                and (kind != "process." or name.endswith(("places", "speeds", "weights")))
            ):
                arrays[name] = np.repeat(arrays[name], times, axis=0)

    crafted_bundle.edit_arrays(folder, change)


def _claims(folder: Path, rng: random.Random) -> None:
    """Claim an array of gigabytes, or pack one of zeros."""
    shape, zeros = rng.choice([(3 << 30, 0), (10**6, 8), (10**7, 8), (7, 9)])
    header = repr({"descr": "<f8", "fortran_order": False, "shape": (shape,)}).ljust(117) + "\n"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        magic = b"\x93NUMPY\x01\x00" + len(header).to_bytes(2, "little")
        archive.writestr("speeds.npy", magic + header.encode() + b"\0" * (zeros * shape))
    (folder / rng.choice([bundle_folder.ARRAYS, bundle_folder.FILLING])).write_bytes(out.getvalue())


# --- builds, manifest, bytes ----------------------------------------------------------------


def _builds(folder: Path, rng: random.Random) -> None:
    path = folder / bundle_folder.SHEETS
    table = pd.read_parquet(path)
    name = rng.choice(list(table))
    kind = rng.randrange(7)
    if kind == 0:
        table = table.drop(columns=name)
    elif kind == 1:
        table = table.iloc[: rng.randrange(len(table))]
    elif kind == 2:
        times = rng.choice([2, 60, 650, 700])
        table = pd.concat([table] * times, ignore_index=True)
        table["sheet_id"] = [f"s{number}" for number in range(len(table))]
    elif kind == 3:
        table[name] = table[rng.choice(list(table))].to_numpy()
    elif kind == 4:
        table[name] = table[name].to_numpy()[::-1]
    elif kind == 5:
        table[name] = rng.choice(_VALUES)
    else:
        table[name] = rng.choice(["", "x" * 399, "x" * 500, "=1", "\x1b[31m"])
    table.to_parquet(path, index=False)
    if rng.random() < 0.5:
        crafted_bundle.sign(folder, sheets=len(table))


def _manifest(folder: Path, rng: random.Random) -> None:
    names = ["sheets", "shops", "columns", "settings", "own_dyno", "invented", "private", "format",
             "made_with", "files", "more"]  # fmt: skip
    crafted_bundle.sign(folder, **{rng.choice(names): rng.choice(_ODD)})


def _settings(folder: Path, rng: random.Random) -> None:
    manifest = json.loads((folder / bundle_folder.MANIFEST).read_text())
    settings = manifest["settings"]
    settings[rng.choice(sorted(settings))] = rng.choice(_ODD)
    crafted_bundle.sign(folder, settings=settings)


def _curves(folder: Path, rng: random.Random) -> None:
    path = folder / bundle_folder.GOLDEN
    golden = json.loads(path.read_text())
    golden[rng.choice(["curves", "spreads", "more"])] = rng.choice(
        [*_ODD, [[1.0] * 41] * 3, [[float("nan")] * 41] * 3, golden["spreads"]]
    )
    path.write_text(json.dumps(golden))


def _bytes(folder: Path, rng: random.Random) -> None:
    path = folder / rng.choice(bundle_folder.FILES)
    data = bytearray(path.read_bytes())
    for _ in range(rng.randint(1, 8)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    path.write_bytes(bytes(data))


#: How bundles are crafted, and how often.
KINDS = {
    _tree_entry: 6, _tree_line: 3, _leaves: 2, _array_value: 8, _filling_value: 3, _array_shape: 4,
    _scaled: 6, _own_dyno: 2, _large: 1, _claims: 1, _builds: 5, _manifest: 3, _settings: 2,
    _curves: 1, _bytes: 4,
}  # fmt: skip
