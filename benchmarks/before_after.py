"""What two installed versions of pullbook cost, each task in turn: ``before_after.py OLD NEW``.

OLD and NEW are two `pullbook` commands, each in its own environment: check the earlier commit out
into another folder and run ``make lint`` there, then

    python benchmarks/before_after.py ../earlier/.venv/bin/pullbook .venv/bin/pullbook

The two take turns, so a machine that slows down slows both; printed is the median of the ratios
NEW over OLD, with the lowest and the highest.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

_BUILD = "cylinders: 6\nbore: 4.0\nstroke: 3.6\ncompression_ratio: 9.2\n"
_KEY = "a key for benchmarks alone\n"


def seconds(home: Path, *words: object) -> float:
    """Return what a command takes, s; its cache and settings are below ``home``."""
    places = {f"XDG_{name}_HOME": str(home / name) for name in ("CACHE", "CONFIG", "STATE")}
    start = time.perf_counter()
    done = subprocess.run(
        list(map(str, words)), env=os.environ | places, capture_output=True, check=False
    )
    if done.returncode > 1:
        sys.exit(done.stderr.decode())
    return time.perf_counter() - start


def tasks(folder: Path, sheets: Path) -> dict[str, list[object]]:
    """Return the words of each task after the command's name."""
    return {
        "predict from cold": ["predict", folder / "build.yaml"],
        "check": ["check", sheets],
        "curate": ["curate", folder / "shared", "--out", folder / "out", "--fresh"],
        "train": ["train", folder / "curated", "--out", folder / "bundle", "--invented"],
    }


def main() -> None:
    """Print the ratio of each task."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--sheets", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=5)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        raw, key = folder / "sheets", folder / "key"
        python = given.new.parent / "python"
        made = ["-m", "pullbook.pipeline.demo", raw, "--sheets", given.sheets, "--seed", 7]
        seconds(folder, python, *made)
        key.write_text(_KEY)
        key.chmod(0o600)
        (folder / "build.yaml").write_text(_BUILD)
        into = ["--into", folder / "shared", "--key-file", key]
        seconds(folder, given.new, "contribute", raw, *into)
        seconds(folder, given.new, "curate", folder / "shared", "--out", folder / "curated")
        for task, words in tasks(folder, raw).items():
            runs = max(1, given.runs // 2) if task == "train" else given.runs
            seconds(folder, given.old, *words)
            seconds(folder, given.new, *words)
            pairs = [
                (seconds(folder, given.old, *words), seconds(folder, given.new, *words))
                for _ in range(runs)
            ]
            ratios = [new / old for old, new in pairs]
            old = statistics.median(old for old, _ in pairs)
            print(
                f"{task:20} new / old {statistics.median(ratios):.2f}"
                f" ({min(ratios):.2f} to {max(ratios):.2f}); old {old:.2f} s, {runs} pairs"
            )


if __name__ == "__main__":
    main()
