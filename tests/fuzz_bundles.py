"""Bundles that were damaged, and bundles that were crafted with hashes that fit.

Of the damaged none is read. Of the crafted each is refused in a sentence, or answers as a slow,
independent reader of its trees and arrays says; neither takes the process down, hangs or needs much
memory.
"""

from __future__ import annotations

import argparse
import random
import resource
import shutil
import tempfile
import time
from pathlib import Path

import crafted_bundle
import numpy as np
from slow_bundle import slow_trees

from pullbook.model.bundles import bundle_folder
from pullbook.model.training import bundle

SMALL = Path(__file__).parent / "bundles" / "format-5"
_SECONDS, _MEGABYTES = 150, 300
_NUMBERS = ("0", "-1", "nan", "inf", "1e999", "9" * 30, "2147483648", "-0", "1e-400", "0x1", "1_0")


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


def craft(folder: Path, rng: random.Random) -> None:
    """Change what is in a bundle, and make its hashes fit."""
    kind = rng.randrange(4)
    if kind == 0:
        name = rng.choice([bundle_folder.CURVE, bundle_folder.SPREAD])
        lines = (folder / name).read_text().split("\n")
        at = rng.choice([i for i, line in enumerate(lines) if "=" in line])
        label, _, values = lines[at].partition("=")
        entries = values.split(" ")
        entries[rng.randrange(len(entries))] = rng.choice(_NUMBERS)
        lines[at] = f"{label}={' '.join(entries)}"
        (folder / name).write_text("\n".join(lines))
    elif kind == 1:
        crafted_bundle.edit_arrays(folder, lambda arrays: _harm(arrays, rng))
    elif kind == 2:
        damage_of_content(folder, rng)
    else:
        crafted_bundle.sign(folder, **{rng.choice(["sheets", "shops", "columns", "settings"]):
                                       rng.choice([0, -1, [], {}, None, "x", 10**30])})  # fmt: skip
    crafted_bundle.sign(folder)


def _harm(arrays: dict[str, np.ndarray], rng: random.Random) -> None:
    name = rng.choice(sorted(arrays))
    array = np.array(arrays[name])
    if array.dtype.kind in "fi" and array.size:
        value = rng.choice([0, -1, 1, 7, 1e9]) if array.dtype.kind == "i" else rng.choice(
            [np.nan, np.inf, -np.inf, 0, -1, 1e300, 1e-300, 0.5])  # fmt: skip
        array.flat[rng.randrange(array.size)] = value
    elif array.size:
        array = array[: array.shape[0] // 2] if array.ndim else array
    arrays[name] = array


def damage_of_content(folder: Path, rng: random.Random) -> None:
    """Damage one file, so that its own format must notice."""
    path = folder / rng.choice(bundle_folder.FILES)
    data = bytearray(path.read_bytes())
    for _ in range(rng.randint(1, 8)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    path.write_bytes(bytes(data))


def answers_rightly(folder: Path) -> bool:
    """Return whether a bundle is refused, or its trees answer as a slow reader of them says."""
    try:
        model, _ = bundle.load(folder)
    except bundle.BundleError as fault:
        assert "\n" not in str(fault), fault
        return True
    rng = np.random.default_rng(3)
    for trees in (model.curve.trees if model.curve else None, model.spread):
        if trees is None:
            continue
        wide = len(trees.text.split("feature_names=", 1)[1].split("\n", 1)[0].split(" "))
        rows = rng.normal(scale=500.0, size=(20, wide))
        rows[:3, : wide // 2] = np.nan
        if not np.allclose(trees.predict(rows), slow_trees(trees.text, rows), rtol=1e-9, atol=1e-9):
            return False
    return True


def run(damaged: int, crafted: int, seed: int) -> None:
    """Try bundles; raise if one is taken wrongly, takes too long or too much."""
    rng = random.Random(seed)  # noqa: S311 - not for secrets
    refused = 0
    base = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "bundle"
        whole = {path.name: path.read_bytes() for path in SMALL.iterdir()}
        for number in range(damaged + crafted):
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            for file, data in whole.items():
                (folder / file).write_bytes(data)
            start = time.perf_counter()
            if number < damaged:
                damage(folder, rng)
                same = {p.name: p.read_bytes() for p in folder.iterdir()} == whole
                try:
                    bundle_folder.read(folder)
                except bundle.BundleError:
                    refused += 1
                else:
                    assert same, f"damaged bundle {number} of seed {seed} was taken"
            else:
                craft(folder, rng)
                assert answers_rightly(folder), f"crafted bundle {number} of seed {seed}"
            assert time.perf_counter() - start < _SECONDS, f"bundle {number} of seed {seed}: slow"
    used = (resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss - base) / 1000
    print(f"{damaged} damaged bundles ({refused} refused), {crafted} crafted: no crash, no hang, no"
          f" wrong answer; a trial took at most {used:.0f} MB")  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--damaged", type=int, default=10_000)
    parser.add_argument("--crafted", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    run(given.damaged, given.crafted, given.seed)
