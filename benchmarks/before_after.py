"""What two installed versions of pullbook cost, each task in turn: ``before_after.py OLD NEW``.

OLD and NEW are two `pullbook` commands, each in its own environment: check the earlier commit out
into another folder and run ``make lint`` there, then

    python benchmarks/before_after.py ../earlier/.venv/bin/pullbook .venv/bin/pullbook

The two take turns, so a machine that slows down slows both; printed is the median of the ratios
NEW over OLD, with the lowest and the highest: of the clock, and of the processor's time, which says
more where the machine has other work. With ``--bundle`` both answer from that one, met before.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

_BUILD = "cylinders: 6\nbore: 4.0\nstroke: 3.6\ncompression_ratio: 9.2\n"
_KEY = "a key for benchmarks alone, long enough\n"


class Cost(NamedTuple):
    """What a command takes, s: of the clock, and of the processor in all its processes."""

    clock: float
    processor: float


def cost(home: Path, *words: object) -> Cost:
    """Return what a command takes; its cache and settings are below ``home``."""
    places = {f"XDG_{name}_HOME": str(home / name) for name in ("CACHE", "CONFIG", "STATE")}
    start, used = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        list(map(str, words)), env=os.environ | places, capture_output=True, check=False
    )
    if done.returncode > 1:
        sys.exit(done.stderr.decode())
    clock, now = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return Cost(clock, now.ru_utime + now.ru_stime - used.ru_utime - used.ru_stime)


def tasks(
    folder: Path, sheets: Path, own: Path, bundle: Path | None = None
) -> dict[str, list[object]]:
    """Return the words of each task after the command's name; ``own`` holds what one version made.

    Each version curates what it contributed itself: they sign and write in ways of their own.
    """
    key = ["--key-file", folder / "key"]
    met = [] if bundle is None else ["--bundle", bundle]
    return {
        "predict from cold": ["predict", folder / "build.yaml", *met],
        "check": ["check", sheets],
        "contribute": ["contribute", sheets, "--into", own / "new", *key],
        "curate": ["curate", own / "shared", "--out", own / "out", "--fresh"],
        "train": ["train", own / "curated", "--out", own / "bundle", "--invented"],
    }


def main() -> None:
    """Print the ratio of each task."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--bundle", type=Path, help="answer from this one")
    parser.add_argument("--sheets", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--only", nargs="*", help="tasks to run")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        raw, key = folder / "sheets", folder / "key"
        python = given.new.parent / "python"
        made = ["-m", "pullbook.pipeline.demo", raw, "--sheets", given.sheets, "--seed", 7]
        cost(folder, python, *made)
        key.write_text(_KEY)
        key.chmod(0o600)
        (folder / "build.yaml").write_text(_BUILD)
        places = {command: folder / which for which, command in vars(given).items()
                  if which in ("old", "new")}  # fmt: skip
        for command, own in places.items():
            own.mkdir()
            into = ["--into", own / "shared", "--key-file", key]
            cost(folder, command, "contribute", raw, *into)
            cost(folder, command, "curate", own / "shared", "--out", own / "curated")

        def once(command: Path, task: str) -> Cost:
            shutil.rmtree(places[command] / "new", ignore_errors=True)
            words = tasks(folder, raw, places[command], given.bundle)[task]
            return cost(folder, command, *words)

        for task in given.only or tasks(folder, raw, folder):
            runs = max(1, given.runs // 2) if task == "train" else given.runs
            once(given.old, task)
            once(given.new, task)
            pairs = [(once(given.old, task), once(given.new, task)) for _ in range(runs)]
            for at, kind in enumerate(Cost._fields):
                ratios = [new[at] / old[at] for old, new in pairs]
                usual = statistics.median(old[at] for old, _ in pairs)
                print(
                    f"{task:20} {kind:9} new / old {statistics.median(ratios):.2f}"
                    f" ({min(ratios):.2f} to {max(ratios):.2f}); old {usual:.2f} s, {runs} pairs",
                    flush=True,
                )


if __name__ == "__main__":
    main()
