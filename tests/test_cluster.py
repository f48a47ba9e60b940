"""More than one machine: a real scheduler and workers in processes of their own."""

import os
import subprocess
import sys
import time

import pandas as pd
import pytest
from command_line import run
from pandas.testing import assert_frame_equal

from pullbook.model.evaluation import evaluate, evaluate_regimes
from pullbook.model.learning.settings import Settings
from pullbook.model.training import bundle, train_model
from pullbook.pipeline.curation import curate, data_set
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel import workers
from pullbook.schemas.errors import InputError

FEW = Settings(rounds=10, spread_rounds=5, folds=3, withheld=1)


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """Start a scheduler and two workers, each a process, and stop them at the end."""
    folder = tmp_path_factory.mktemp("cluster")
    file = folder / "scheduler.json"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder}
    common = ["--scheduler-file", file, "--no-dashboard"]
    scheduler = [sys.executable, "-m", "distributed.cli.dask_scheduler", *common, "--port", "0",
                 "--host", "127.0.0.1"]  # fmt: skip
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", *common, "--nthreads", "1",
              "--no-nanny"]  # fmt: skip
    started = [subprocess.Popen(list(map(str, scheduler)), **quiet)]
    for _ in range(300):
        if file.exists() and file.stat().st_size:
            break
        time.sleep(0.1)
    started += [subprocess.Popen(list(map(str, worker)), **quiet) for _ in range(2)]
    yield pd.read_json(file, typ="series")["address"]
    for process in reversed(started):
        process.terminate()
        process.wait(20)


@pytest.fixture
def far(address):
    with workers.cluster(address) as found:
        found._client.wait_for_workers(2, timeout=60)
        yield found


def test_the_work_is_done_in_other_processes_in_order(far):
    def where(_):
        time.sleep(0.2)
        return os.getpid()

    done = list(far.each(where, range(6)))
    assert os.getpid() not in done
    assert len(set(done)) == 2
    assert list(far.each(str, range(50))) == [str(number) for number in range(50)]


def test_what_goes_wrong_on_a_worker_is_told(far):
    with pytest.raises(ValueError, match="invalid literal"):
        list(far.each(int, ["1", "two"]))


@pytest.mark.slow
def test_curating_there_gives_the_same_tables(demo, far):
    shared = [demo.folder / "shared"]
    here, there = curate.curate(shared), curate.curate(shared, far)
    for name in ("builds", "pulls", "findings"):
        assert_frame_equal(getattr(there, name), getattr(here, name))


def test_features_made_there_are_the_same(demo, far, monkeypatch):
    monkeypatch.setattr(feature_table, "_LOT", 30)
    builds = demo.builds.head(150)
    assert_frame_equal(feature_table.fit(builds, far).table, feature_table.fit(builds).table)


@pytest.mark.slow
def test_a_model_trained_there_is_the_same(demo, far, tmp_path):
    builds = demo.builds.head(100)
    pulls = demo.pulls[demo.pulls["sheet_id"].isin(builds["sheet_id"])]
    made = feature_table.fit(builds)
    ids = []
    for name, hands in (("here", train_model.THREADS), ("there", far)):
        model = train_model.train(builds, pulls, made, FEW, iter, hands)
        ids.append(bundle.save(model, tmp_path / name))
    assert ids[0] == ids[1]


@pytest.mark.slow
def test_a_model_is_evaluated_there_with_the_same_outcome(demo, far):
    builds = demo.builds.head(80)
    pulls = demo.pulls[demo.pulls["sheet_id"].isin(builds["sheet_id"])]
    here, there = (
        evaluate.evaluate(builds, pulls, FEW, 2, iter, hands)
        for hands in (train_model.THREADS, far)
    )
    assert_frame_equal(there.readings, here.readings)
    here, there = (
        evaluate_regimes.held_out(builds, pulls, FEW, 2, iter, hands)
        for hands in (train_model.THREADS, far)
    )
    assert_frame_equal(there[0], here[0])


def test_the_commands_take_the_address(demo, address, tmp_path):
    words = ("curate", demo.folder / "shared", "--out", tmp_path / "there", "--fresh")
    done = run(*words, "--cluster", address)
    assert done.returncode == 0, done.stderr
    made = run("features", tmp_path / "there", "--out", tmp_path / "f", "--cluster", address)
    assert made.returncode == 0, made.stderr
    here = run("curate", demo.folder / "shared", "--out", tmp_path / "here", "--fresh")
    assert here.returncode == 0
    for name in (data_set.BUILDS, data_set.PULLS):
        assert (tmp_path / "there" / name).read_bytes() == (tmp_path / "here" / name).read_bytes()


def test_where_nobody_answers_it_is_one_sentence(demo, tmp_path, monkeypatch):
    monkeypatch.setattr(workers, "_SECONDS", 1)
    with (
        pytest.raises(InputError, match="no scheduler answers"),
        workers.cluster("tcp://127.0.0.1:9"),
    ):
        pass
    done = run("features", demo.folder / "curated", "--out", tmp_path, "--cluster", "nonsense")
    assert done.returncode == 2
    assert "not the address of a scheduler" in done.stderr
