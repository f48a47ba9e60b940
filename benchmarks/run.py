"""Costs as ratios to a peer in the same run: ``make bench``.

Absolute seconds say more about the machine than about the code; a ratio to a peer that does the
unavoidable part of the same work on the same machine in the same minute holds.
"""

from __future__ import annotations

import argparse
import csv
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import many
import pandas as pd
import yaml

from pullbook.model.answers.predictor import Predictor
from pullbook.model.learning.settings import Settings
from pullbook.model.prediction.predict import predict
from pullbook.model.range.tested_speeds import speeds_of
from pullbook.model.trained import known_sheets
from pullbook.model.training import bundle, train_model
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.builds.read_builds import read_builds
from pullbook.pipeline.curation import curate
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel.workers import Processes
from pullbook.text import prediction_text
from pullbook.words.units import Units

if TYPE_CHECKING:
    from collections.abc import Callable

_RUNS = 5
_CORES = os.cpu_count() or 1
CREW = Processes(_CORES)
_PEAK = """
import resource, sys, time
from pathlib import Path
from pipeline import feature_table
from pullbook.pipeline.parallel.workers import Processes
from pullbook.pipeline.curation.curate import curate
if __name__ == "__main__":
    crew = Processes(int(sys.argv[2]))
    start = time.perf_counter()
    curated = curate([Path(sys.argv[1])], crew)
    between = time.perf_counter()
    feature_table.fit(curated.builds, crew)
    end = time.perf_counter()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(between - start, end - between, peak / 1e6)
"""


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def ratio(work: Callable[[], object], peer: Callable[[], object], runs: int = _RUNS) -> float:
    """Return the median over pairs of runs of the time of work to that of its peer."""
    work(), peer()
    return statistics.median(_seconds(work) / _seconds(peer) for _ in range(runs))


def bare_reading(folder: Path) -> None:
    """Read the same files with the C YAML loader and the csv module, and do nothing with them."""
    for path in sorted(folder.glob("*.csv")):
        _, fields, table = path.read_text(encoding="utf-8").split("---\n", 2)
        yaml.load(fields, Loader=yaml.CBaseLoader)  # noqa: S506 - resolves nothing
        list(csv.reader(table.splitlines()))


def _python(code: str, *words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)], check=True, capture_output=True, text=True
    )


def _say(what: str, figure: float, wanted: str) -> None:
    print(f"{what:62} {figure:7.2f}   (wanted: {wanted})", flush=True)


def curation(folder: Path, most: int) -> None:
    """Print what curating costs."""
    few, some, lots = many.make(folder, [800, 8000, most])
    for place, count in ((few, 800), (some, 8000)):
        found = ratio(
            lambda place=place: curate.curate([place], CREW),
            lambda place=place: bare_reading(place / "accepted"),
        )
        _say(f"curating {count} sheets / bare reading of the same files", found, "at most 3")
    found = ratio(lambda: curate.curate([some]), lambda: curate.curate([some], CREW), 3)
    _say(f"curating 8000 sheets with one process / with {_CORES}", found, "above 1")
    found = ratio(lambda: curate.curate([some], CREW), lambda: curate.curate([few], CREW), 3)
    _say("curating 8000 sheets / 800", found, "at most 11")
    cache = folder / "cache"
    curate.curate([some], CREW, cache)
    found = ratio(lambda: curate.curate([some], CREW, cache),
                  lambda: bare_reading(some / "accepted"), 3)  # fmt: skip
    _say("curating 8000 sheets again / bare reading of the same files", found, "below 1")
    curating, engineering, peak = map(float, _python(_PEAK, lots, _CORES).stdout.split())
    _say(f"seconds to curate {most} sheets", curating, "at most 1 a thousand")
    _say("seconds to make their features", engineering, "at most 0.1 a thousand")
    _say(
        "gigabytes at the most, of the process that gathers",
        peak,
        "below 1 for each 100,000, and 1",
    )


def check(folder: Path) -> None:
    """Print what a look at one sheet costs."""
    sheet = next(iter(sorted((folder / "many-800" / "accepted").iterdir())))
    code = (
        "import sys; sys.argv[1:] = ['check', sys.argv[1]];"
        " from pullbook.commands.main import run; run()"
    )
    found = ratio(lambda: _python(code, sheet), lambda: _python("import pandas"))
    _say("pullbook check of one sheet / import pandas", found, "at most 2")


def model(folder: Path, most: int) -> None:
    """Print what training and asking cost."""
    few, many_ = 1000, most
    times = {}
    for count, place in zip((few, many_), many.make(folder, [few, many_]), strict=True):
        data = curate.curate([place], CREW)
        features = feature_table.fit(data.builds)
        start = time.perf_counter()
        trained = train_model.train(data.builds, data.pulls, features, Settings())
        times[count] = time.perf_counter() - start
        if count == few:
            tested, kept = data.builds, trained
            _say(f"seconds to train on {few} sheets", times[few], "at most 60 on two cores")
    _say(f"training on {many_} sheets / {few}, over the ratio of sheets",
         times[many_] / times[few] * few / many_, "about 1")  # fmt: skip
    lots = pd.concat([tested] * (10_000 // len(tested)), ignore_index=True)
    rpm = speeds_of(2000.0, 6500.0, 250.0)
    start = time.perf_counter()
    for one in predict(kept, lots, [None] * len(lots)):
        one.answer(rpm, 0.9)
    _say(f"seconds to predict {len(lots)} builds with all limits",
         time.perf_counter() - start, "at most 10")  # fmt: skip
    bundle.save(kept, folder / "bundle")
    _decisions(folder)
    build = folder / "build.yaml"
    build.write_text("cylinders: 6\nbore: 4.0\nstroke: 3.6\ncompression_ratio: 9.2\n")
    code = (
        "import sys; sys.argv[1:] = ['predict', sys.argv[1], '--bundle', sys.argv[2]];"
        " from pullbook.commands.main import run; run()"
    )
    found = ratio(lambda: _python(code, build, folder / "bundle"),
                  lambda: _python("import pandas, lightgbm"))  # fmt: skip
    _say("pullbook predict from cold / import pandas and lightgbm", found, "at most 1.5")


def _decisions(folder: Path) -> None:
    """Print what deciding costs a process that is warm."""
    predictor = Predictor.load(folder / "bundle")
    plain = {"cylinders": 8, "bore": 4.03, "stroke": 3.48, "compression_ratio": 9.4}
    (small,) = read_builds({**plain, "intake_duration": 210})
    (large,) = read_builds({**plain, "intake_duration": 230})
    band = (2500.0, 4500.0)
    lengths = {"intake_duration": [200.0 + 2 * step for step in range(20)]}

    def both() -> None:
        predictor.compare(predictor.predictions([small, large]), band)
        predictor.vary(small, lengths, band)

    both()
    _say("seconds to compare two builds and to vary one over 20",
         statistics.median(_seconds(both) for _ in range(_RUNS)), "below 0.2")  # fmt: skip
    _one_answer(predictor)
    lists = {
        "camshaft": [{"intake_duration": 198 + 2 * step} for step in range(18)],
        "heads": [{"intake_valve": 1.9 + 0.01 * step} for step in range(14)],
        "intake": [{"airflow": 500 + 50 * step} for step in range(10)],
        "exhaust": [{"exhaust_type": kind} for kind in ("cast manifold", "long-tube header")],
    }
    named = {kind: [{"name": f"{kind} {at}", **part} for at, part in enumerate(parts)]
             for kind, parts in lists.items()}  # fmt: skip
    wanted = {"build": plain, "parts": named, "goal": {"mean_torque": "2500:4500"}}
    (folder / "parts.yaml").write_text(yaml.safe_dump(wanted))
    _say("seconds to choose among 5040 combinations",
         _seconds(lambda: predictor.choose(folder / "parts.yaml", (2000.0, 3000.0))),
         "at most 10")  # fmt: skip


def _one_answer(predictor: Predictor) -> None:
    """Print what one answer in words takes, and that over the learners alone."""
    build = {"cylinders": 8, "bore": 4.03, "stroke": 3.48, "intake_duration": 218}
    model = predictor.model
    typed = typed_builds(read_builds(build))
    table = known_sheets.features_of(model, typed, [None])

    def answer() -> None:
        prediction_text.full(predictor.predict(build)[0], Units.INCH)

    def learners() -> None:
        known_sheets.start_curves(model, table)

    answer()
    seconds = statistics.median(_seconds(answer) for _ in range(_RUNS))
    _say("seconds for one answer in words, bundle loaded", seconds, "at most 0.3")
    _say("that over its learners alone", ratio(answer, learners), "at most 20")


def main() -> None:
    """Print a line a ratio."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--most", type=int, default=100_000, help="Sheets of the largest run.")
    parser.add_argument("--trained", type=int, default=20_000, help="Sheets of the largest fit.")
    parser.add_argument("--only", choices=["curation", "model"])
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        if given.only != "model":
            curation(Path(name), given.most)
            check(Path(name))
        if given.only != "curation":
            model(Path(name), given.trained)


if __name__ == "__main__":
    main()
