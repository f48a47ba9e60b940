"""One shop's own model reviewed: a jury of engines, a verdict, accuracy and learning curve."""

import json

import numpy as np
import pandas as pd
import pytest
from command_line import run

from pullbook.model.evaluation import learning_curve as curves
from pullbook.model.review import judge as judging
from pullbook.model.training import bundle
from pullbook.pipeline.builds.engine_groups import engine_keys, engines_of, held_out_groups
from pullbook.pipeline.curation import data_set
from pullbook.pipeline.demo import sheets, shops


@pytest.fixture(scope="module")
def way(once):
    """A lone shop's sheets, curated, a jury set aside, and two models of the rest."""

    def make(folder):
        circle = shops.Circle(1, 50, 78, 3, shops.Mix(missing=0.3, nameless=0.0, whole_numbers=0.0))
        sheets.make(folder / "sheets", circle)
        assert run("curate", folder / "sheets", "--own", "--out", folder / "data").returncode <= 1
        done = run("jury", folder / "data", "--share", "0.4", "--out", folder / "split")
        assert done.returncode == 0, done.stderr
        learn = folder / "split/learn"
        builds, pulls = data_set.load(learn)
        some = engines_of(builds) % 2 == 0
        few = builds[some].reset_index(drop=True)
        tables = {
            data_set.BUILDS: few,
            data_set.PULLS: pulls[pulls["sheet_id"].isin(few["sheet_id"])].reset_index(drop=True),
        }
        data_set.write(folder / "half", tables)
        for name, source in (("old", folder / "half"), ("new", learn)):
            trained = run("train", source, "--out", folder / name, "--start", "none")
            assert trained.returncode == 0, trained.stderr
        return folder, done.stdout

    return once("own review", make)


def test_the_jury_of_one_shop_is_of_engines(way):
    folder, said = way
    assert "engines to learn from" in said
    learn, jury = (data_set.load(folder / "split" / part)[0] for part in ("learn", "jury"))
    assert not set(engine_keys(learn)) & set(engine_keys(jury))
    assert len(set(engine_keys(jury))) > 2


def test_two_models_of_one_shop_are_judged_on_engines_new_to_both(way):
    folder, _ = way
    out = folder / "verdict"
    words = (folder / "old", folder / "new", "--on", folder / "split/jury", "--out", out)
    done = run("judge", *words, "--json")
    assert done.returncode in {0, 1}, done.stderr
    found = json.loads(done.stdout)
    jury = data_set.load(folder / "split/jury")[0]
    assert found["held_out"] == "engine"
    assert found["shops"] == len(set(engine_keys(jury)))
    assert found["figures"]["rms"]["new"] < 15
    page = " ".join((out / "judgement.html").read_text().split())
    assert "resampling whole engines" in page
    said = run("judge", *words).stdout
    assert f"{found['shops']} engines that neither has learned from" in " ".join(said.split())


def test_an_engine_that_a_model_has_learned_from_does_not_judge_it(way):
    folder, _ = way
    builds, _ = data_set.load(folder / "data")
    old, _ = bundle.load(folder / "old")
    new, _ = bundle.load(folder / "new")
    rows = judging.unseen(builds, old, new)
    assert set(engine_keys(builds)[rows]) == set(
        engine_keys(data_set.load(folder / "split/jury")[0])
    )
    done = run("judge", folder / "old", folder / "new", "--on", folder / "half")
    assert done.returncode == 2
    assert "no engine is new to both bundles" in " ".join(done.stderr.split())


def drifted(folder, times, into):
    """Report on the sheets that a model has not seen, their torque times so much."""
    builds, pulls = data_set.load(folder / "data")
    old = pd.Series(pulls["sheet_id"].isin(data_set.load(folder / "half")[0]["sheet_id"]))
    torque = pulls["torque"].where(old, times * pulls["torque"])
    tables = {data_set.BUILDS: builds, data_set.PULLS: pulls.assign(torque=torque)}
    now, out = into / f"now {times}", into / f"drift {times}"
    data_set.write(now, tables)
    done = run("report", "drift", now, "--bundle", folder / "old", "--out", out)
    return done, json.loads((out / "drift.json").read_text()), (out / "drift.md").read_text()


def test_new_sheets_of_one_shop_are_checked_against_what_its_model_learned_from(way, tmp_path):
    folder, _ = way
    (known, _), (builds, _) = (data_set.load(folder / name) for name in ("half", "data"))
    done, found, page = drifted(folder, 1.0, tmp_path)
    assert done.returncode == 0, done.stderr
    assert found["new"]["sheets"] == len(builds) - len(known)
    assert (found["held_out"], found["doubts"], found["gone"]) == ("engine", [], 0)
    assert "How your dyno reads now" in page
    assert "limits over engines" in page
    assert "shops" not in page.split("All batches so far")[0]
    again = drifted(folder, 1.15, tmp_path)[1]["shops"][0]["offset"] - found["shops"][0]["offset"]
    assert again == pytest.approx(np.log(1.15), abs=1e-3)


def test_a_dyno_that_reads_high_since_is_in_doubt(way, tmp_path):
    done, found, _ = drifted(way[0], 1.3, tmp_path)
    assert done.returncode == 1
    assert "your dyno reads +" in found["doubts"][0]
    assert found["doubts"][0] in " ".join(done.stderr.split())


def test_new_sheets_are_read_straight_from_the_folder_of_a_shop(way, tmp_path):
    folder, _ = way
    out = tmp_path / "straight"
    words = ("--bundle", folder / "old", "--out", out, "--own")
    done = run("report", "drift", folder / "sheets", *words)
    assert done.returncode == 0, done.stderr
    straight = json.loads((out / "drift.json").read_text())
    assert straight["new"]["rms"] == drifted(folder, 1.0, tmp_path)[1]["new"]["rms"]


def test_a_verdict_puts_a_model_of_ones_own_in_use(way, tmp_path):
    folder, _ = way
    first = run("promote", folder / "old", "--into", tmp_path / "models", "--although", "first")
    assert first.returncode == 0, first.stderr
    words = (tmp_path / "models", folder / "new", "--on", folder / "split/jury")
    judged = run("judge", *words, "--out", tmp_path)
    done = run("promote", folder / "new", "--into", tmp_path / "models", "--judgement",
               tmp_path / "judgement.json")  # fmt: skip
    assert done.returncode == (0 if judged.returncode == 0 else 2), done.stderr


@pytest.mark.slow
def test_accuracy_and_learning_curve_of_ones_own_pile(way):
    folder, _ = way
    out = folder / "report"
    done = run("evaluate", folder / "sheets", "--own", "--out", out, "--start", "none")
    assert done.returncode == 0, done.stderr
    said = " ".join(done.stdout.split())
    metrics = json.loads((out / "metrics.json").read_text())
    builds, _ = data_set.load(folder / "data")
    assert metrics["held_out"] == "engine"
    assert metrics["shops"] == len(set(engine_keys(builds)))
    assert "each engine was held out once" in said
    curve = metrics["learning_curve"]
    assert curve["tests"] == sorted(curve["tests"])
    assert curve["error"][-1] < curve["rules"]["mean_per_cubic_inch"]
    assert [one["tests"] for one in curve["ahead"]] == [1.5 * len(builds), 2 * len(builds)]
    assert all(one["low"] <= one["error"] <= one["high"] for one in curve["ahead"])
    assert "with other engines like yours" in said
    assert (out / "model_learning.svg").exists()
    assert "What more tests would bring" in (out / "model.html").read_text()


def test_errors_that_fall_by_a_known_law_are_foretold():
    """A share that stays and one that falls as one over the number of tests."""
    sizes = np.array([10.0, 20.0, 40.0])
    square = 0.02**2 + 0.04**2 * 10 / sizes
    ahead = curves._ahead(sizes, square, np.array([60.0, 80.0]))
    assert ahead == pytest.approx(100 * np.sqrt(0.02**2 + 0.04**2 * 10 / np.array([60.0, 80.0])))
    flat = curves._ahead(sizes, np.full(3, 0.03**2), np.array([80.0]))
    assert flat == pytest.approx([3.0])
    rising = curves._ahead(sizes, np.array([4e-4, 9e-4, 16e-4]), np.array([80.0]))
    assert 0 < rising[0] < 5  # more tests do no harm: it stays at the mean


def test_a_circles_data_is_held_out_by_shop(demo):
    assert held_out_groups(demo.builds).what == "shop"
    one = demo.builds[demo.builds["shop"] == demo.builds["shop"].iloc[0]]
    assert held_out_groups(one).what == "engine"
