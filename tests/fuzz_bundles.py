"""Bundles that were damaged, and bundles that were crafted with hashes that fit. ``make fuzz``.

Of the damaged none is read. Of the crafted each is refused in a sentence, or answers as a slow,
independent reader of its trees and arrays says; none takes a process down, hangs, or needs more
than 300 MB beyond what the process had before it, which loaded and asked the sound bundle. Many are
tried in one process, one after another; another watches it, and starts the next where it ended.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import select
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import bundle_crafts
import numpy as np
import one_thread  # noqa: F401 - before what would start threads
import pandas as pd
from peak_memory import peak
from slow_bundle import SlowBundle

from pullbook.model.bundles import bundle_folder, first_met
from pullbook.model.prediction.predict import predict
from pullbook.model.training import bundle
from pullbook.schemas import curated_tables
from pullbook.schemas.errors import InputError

SMALL = Path(__file__).parent / "bundles" / "format-6"
#: Longest that one bundle may take, s of the clock, and most memory, MB.
SECONDS, MEGABYTES = 60, 300
_LEVEL = 0.9
#: So many are tried in one process, and every so many is loaded as a user would.
_IN_ONE, _WHOLE_WAY = 200, 100


def questions() -> pd.DataFrame:
    """Return the builds that are asked about: complete ones, and ones with many blanks."""
    table = curated_tables.complete(pd.read_parquet(SMALL / bundle_folder.SHEETS))
    some = table.iloc[[0, 20, 40]].assign(engine=None)
    return some.assign(shop=pd.Series([None] * 3, some.index, dtype=some["shop"].dtype))


def disagreement(folder: Path) -> str | None:
    """Return in what a bundle's answers differ from those of the slow reader, if in anything."""
    model, entries = bundle.load(folder)
    builds, slow = questions(), SlowBundle(folder)
    if model.own_dyno:
        return None  # answers from every reading are held against another route in test_effects
    for at, one in enumerate(predict(model, builds, [None] * len(builds), entries)):
        said = slow.answer(builds.iloc[[at]], _LEVEL)
        torque = one.torque(model.speeds)
        distance = float(one.distances[:3].mean())
        factors = one.factor("point", _LEVEL), one.factor("band", _LEVEL)
        sound = {
            "torque": bool(np.isfinite(torque).all()) and np.allclose(torque, said.torque, 1e-6, 0),
            "spread": np.allclose(one.spread / one.widened, said.spread, 1e-6, 1e-9),
            "distance": np.isclose(distance, said.distance, 1e-6, 1e-6)
            or "start.places" in slow.arrays,
            "standing": not said.outside or str(one.standing) == "outside",
            "limits": factors == said.factors,
        }
        if not all(sound.values()):
            return ", ".join(name for name, same in sound.items() if not same)
    return None


# --- the process that tries bundles ---------------------------------------------------------


def _lay(folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for path in SMALL.iterdir():
        (folder / path.name).write_bytes(path.read_bytes())


def _tried(folder: Path, number: int, seed: int) -> dict[str, Any]:
    """Craft a bundle and try it; return what became of it."""
    _lay(folder)
    rng = random.Random(f"{seed}/{number}")  # noqa: S311 - not for secrets
    how = bundle_crafts.craft(folder, rng)
    before, start = peak(anew=True), time.process_time()
    try:
        if number % _WHOLE_WAY:
            digest = bundle_folder.read(folder).digest
            bundle._try(folder, digest)
            first_met.remember(digest)
        wrong = disagreement(folder)
    except InputError as fault:
        sentence = str(fault)
        became = "refused" if sentence.isprintable() else f"refused with {sentence!r}"
    except Exception as fault:
        became = f"{type(fault).__name__} comes out: {fault}"
    else:
        became = "answered" if wrong is None else f"wrong: {wrong}"
    taken = time.process_time() - start
    return {"how": how, "became": became, "seconds": taken, "memory": peak() - before}


def child(seed: int) -> None:
    """Try the bundles whose numbers come in, a line each, and print what became of each."""
    warnings.simplefilter("ignore")  # odd numbers are what is tried
    with tempfile.TemporaryDirectory() as name:
        os.environ["XDG_STATE_HOME"] = str(Path(name) / "state")
        assert disagreement(SMALL) is None
        pages = int(Path("/proc/self/statm").read_text().split()[5])
        most = pages * resource.getpagesize() + first_met._BYTES
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))  # as in the trial of a bundle
        answers = os.fdopen(os.dup(1), "w")
        os.dup2(2, 1)  # what a library prints is no answer of ours
        print("ready", file=answers, flush=True)
        for line in sys.stdin:
            one = _tried(Path(name) / "bundle", int(line), seed)
            print(json.dumps(one), file=answers, flush=True)


# --- the process that watches it ------------------------------------------------------------


class Trial:
    """A process that tries bundles, and is watched."""

    def __init__(self, seed: int) -> None:
        """Start it."""
        words = [sys.executable, __file__, "--child", "--seed", str(seed)]
        self._child = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self._line(4 * SECONDS)

    def of(self, number: int) -> dict[str, Any]:
        """Return what becomes of a bundle."""
        assert self._child.stdin is not None
        self._child.stdin.write(f"{number}\n".encode())
        self._child.stdin.flush()
        try:
            found: dict[str, Any] = json.loads(self._line(SECONDS))
        except TimeoutError:
            return {"how": "?", "became": "hangs", "seconds": SECONDS, "memory": 0}
        except EOFError:
            code = self._child.wait()
            return {"how": "?", "became": f"crash ({code})", "seconds": 0, "memory": 0}
        return found

    def _line(self, seconds: float) -> bytes:
        out = self._child.stdout
        assert out is not None
        if not select.select([out], [], [], seconds)[0]:
            raise TimeoutError
        line = out.readline()
        if not line:
            raise EOFError
        return line

    def end(self) -> None:
        """End it."""
        self._child.kill()
        self._child.communicate()


def crafted(count: int, seed: int, first: int = 0) -> dict[str, Any]:
    """Try crafted bundles; return how many were refused and answered, and what went wrong."""
    found: dict[str, Any] = {"refused": 0, "answered": 0, "seconds": 0.0, "memory": 0.0}
    faults: list[str] = []
    how: Counter[str] = Counter()
    trial: Trial | None = None
    for number in range(first, first + count):
        if trial is None:
            trial = Trial(seed)
        one = trial.of(number)
        memory = one["memory"]
        found["seconds"] = max(found["seconds"], one["seconds"])
        found["memory"] = max(found["memory"], memory)
        fine = one["became"] in {"refused", "answered"}
        if fine:
            found[one["became"]] += 1
            how.update(f"{one['became']}: {kind}" for kind in one["how"].split(", "))
        if not fine or memory > MEGABYTES:
            faults.append(f"{number} ({one['how']}): {one['became']}, {memory:.0f} MB")
            print(faults[-1], file=sys.stderr, flush=True)
        if not fine or memory > MEGABYTES or (number + 1) % _IN_ONE == 0:
            trial.end()
            trial = None
    if trial is not None:
        trial.end()
    return {**found, "faults": faults, "how": how}


def damaged(count: int, seed: int) -> int:
    """Try damaged bundles in this process; return how many were refused."""
    rng = random.Random(seed)  # noqa: S311 - not for secrets
    refused = 0
    whole = {path.name: path.read_bytes() for path in SMALL.iterdir()}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "bundle"
        for number in range(count):
            _lay(folder)
            bundle_crafts.damage(folder, rng)
            same = {p.name: p.read_bytes() for p in folder.iterdir()} == whole
            try:
                bundle_folder.read(folder)
            except bundle.BundleError:
                refused += 1
            else:
                assert same, f"damaged bundle {number} of seed {seed} was taken"
    return refused


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--damaged", type=int, default=10_000)
    parser.add_argument("--crafted", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="number of the first crafted one")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", action="store_true")
    given = parser.parse_args()
    if given.child:
        child(given.seed)
        sys.exit()
    print(f"{given.damaged} damaged bundles: {damaged(given.damaged, given.seed)} refused")
    result = crafted(given.crafted, given.seed, given.first)
    print(*sorted(f"{kind} {number}" for kind, number in result["how"].items()), sep="\n")
    print(
        f"{given.crafted} crafted bundles: {result['refused']} refused, {result['answered']}"
        f" answered as the slow reader says; at most {result['seconds']:.1f} s and"
        f" {result['memory']:.0f} MB each"
    )
    sys.exit(bool(result["faults"]))
