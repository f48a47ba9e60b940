"""The benchmarks still run, on circles too small for their figures to mean anything."""

import importlib
import sys
from pathlib import Path

import pytest

from pullbook.model.learning.settings import Settings
from pullbook.pipeline.demo.shops import Circle

FOLDER = Path(__file__).parents[1] / "benchmarks"
FEW = Settings(rounds=20, spread_rounds=10, folds=3)
#: Needs libraries of its own, which `make peers` installs.
WITH_PEERS = {"contest", "peers"}


@pytest.fixture
def benchmark(monkeypatch):
    monkeypatch.setattr(sys, "path", [str(FOLDER), *sys.path])
    return importlib.import_module


@pytest.mark.parametrize(
    "name", [one.stem for one in FOLDER.glob("*.py") if one.stem not in WITH_PEERS]
)
def test_every_benchmark_can_be_imported(benchmark, name):
    assert benchmark(name).__doc__


@pytest.mark.slow
def test_what_each_part_is_worth_is_the_mean_over_circles(benchmark):
    ablation = benchmark("ablation")
    circles = [ablation.ablate(Circle(10, 100, seed=seed), FEW) for seed in (1, 2)]
    table = ablation.summary(circles).set_index(["kind", "left_out"])
    whole, trees = ("all", "nothing"), ("model", "the process: trees alone")
    assert table.loc[whole, "more"] == 0
    for row in (whole, trees):
        (place,) = (n for n, one in enumerate(circles[0]) if one[:2] == row)
        both = [circle[place].value for circle in circles]
        assert table.loc[row, "rms"] == pytest.approx(sum(both) / 2, abs=1e-3)
    assert (table["rms"] > 0).all()
    assert {"model", "features", "fields", "measured", "width"} < set(table.index.levels[0])
