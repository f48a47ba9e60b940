"""Costs as ratios to a peer in the same run: ``make bench``.

Absolute seconds say more about the machine than about the code; a ratio to a peer that does the
unavoidable part of the same work on the same machine in the same minute holds.
"""

from __future__ import annotations

import csv
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import yaml

from pipeline import contribute, curate
from pipeline.demo import sheets

if TYPE_CHECKING:
    from collections.abc import Callable

_RUNS = 5


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def ratio(work: Callable[[], object], peer: Callable[[], object]) -> float:
    """Return the median over pairs of runs of the time of work to that of its peer."""
    work(), peer()
    return statistics.median(_seconds(work) / _seconds(peer) for _ in range(_RUNS))


def bare_reading(folder: Path) -> None:
    """Read the same files with the C YAML loader and the csv module, and do nothing with them."""
    for path in sorted(folder.glob("*.csv")):
        _, fields, table = path.read_text(encoding="utf-8").split("---\n", 2)
        yaml.load(fields, Loader=yaml.CBaseLoader)  # noqa: S506 - resolves nothing
        list(csv.reader(table.splitlines()))


def _python(code: str) -> Callable[[], object]:
    return lambda: subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def main() -> None:
    """Print a line a ratio."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sheets.make(folder / "sheets", sheets=400, shops=30)
        contribute.contribute([folder / "sheets"], folder / "shared", b"a key for the benchmark")
        accepted = folder / "shared" / "accepted"
        found = ratio(lambda: curate.curate([folder / "shared"]), lambda: bare_reading(accepted))
        print(f"curating 400 sheets / bare reading of the same files      {found:6.2f}")
        sheet = next(iter(sorted(accepted.iterdir())))
        check = (
            f"from pullbook.cli import run; import sys; sys.argv[1:] = ['check', '{sheet}']; run()"
        )
        found = ratio(_python(check), _python("import pandas"))
        print(f"pullbook check of one sheet / import pandas               {found:6.2f}")


if __name__ == "__main__":
    main()
