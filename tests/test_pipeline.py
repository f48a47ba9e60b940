"""The pipeline as an analyst works with it: a commit says all, and DVC does what changed."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import yaml

#: DVC starts every stage in a process of its own; test_stages.py has what is told without it.
pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[1]
_CODE = ("schemas", "pipeline", "model", "pullbook", "benchmarks/results")
_FILES = ("dvc.yaml", "params.yaml", ".dvcignore", "data/demo.key")
#: Stages that a month's batch goes through; the evaluation is the same command as ever.
_STAGES = ("judge", "ship")


def run(folder, *words, status=0):
    scripts = str(Path(sys.executable).parent)
    settings = {
        "PATH": f"{scripts}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(folder),
        "GIT_CONFIG_GLOBAL": os.devnull,
        "DVC_NO_ANALYTICS": "1",
        "DVC_SITE_CACHE_DIR": str(folder.parent / "site"),
        "GIT_AUTHOR_NAME": "nobody", "GIT_AUTHOR_EMAIL": "nobody@example.org",
        "GIT_COMMITTER_NAME": "nobody", "GIT_COMMITTER_EMAIL": "nobody@example.org",
    }  # fmt: skip
    done = subprocess.run(
        words, cwd=folder, env={**os.environ, **settings}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == status, f"{words}\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    return done.stdout


def project(folder):
    """Lay out a small project with the code and the pipeline as they are, under Git and DVC."""
    folder.mkdir(parents=True)
    for name in _CODE:
        skip = shutil.ignore_patterns("__pycache__", "invented")
        shutil.copytree(ROOT / name, folder / name, ignore=skip)
    for name in _FILES:
        (folder / name).parent.mkdir(exist_ok=True)
        shutil.copy(ROOT / name, folder / name)
    (folder / "data/demo.key").chmod(0o600)
    params = yaml.safe_load((ROOT / "params.yaml").read_text())
    params["demo"] |= {"sheets": 170, "shops": 30}
    params["train"] |= {"rounds": 30, "spread_rounds": 10, "folds": 3, "withheld": 1}
    params["judge"] |= {"fewest_shops": 3}
    (folder / "params.yaml").write_text(yaml.safe_dump(params))
    (folder / "data/champion.yaml").write_text(yaml.safe_dump({"train": params["train"]}))
    shutil.copy(ROOT / "data/.gitignore", folder / "data/.gitignore")
    (folder / ".gitignore").write_text("__pycache__/\n")
    run(folder, "git", "init", "-q")
    run(folder, "dvc", "init", "-q")
    run(folder, "git", "add", "-A")
    run(folder, "git", "commit", "-qm", "as it is")
    return folder


def versions(folder):
    """Return the digest of all that the stages made."""
    lock = yaml.safe_load((folder / "dvc.lock").read_text())
    return {out["path"]: out["md5"] for stage in lock["stages"].values() for out in stage["outs"]}


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    folder = project(tmp_path_factory.mktemp("first") / "project")
    run(folder, "dvc", "repro", *_STAGES)
    run(folder, "git", "add", "-A")
    run(folder, "git", "commit", "-qm", "a run")
    return folder


def test_a_run_is_reproduced_from_a_commit_alone(first, tmp_path):
    """Twice, in two clones without a cache between them: every output has the same bytes."""
    run(first, "git", "clone", "-q", str(first), str(tmp_path / "again"))
    again = tmp_path / "again"
    (again / "data/demo.key").chmod(0o600)
    kept = versions(first)
    (again / "dvc.lock").unlink()
    shutil.rmtree(again / "reports")
    run(again, "dvc", "repro", *_STAGES)
    assert versions(again) == kept
    assert len(kept) > 20


def test_nothing_is_done_where_nothing_changed(first):
    said = run(first, "dvc", "repro", *_STAGES)
    assert "Running stage" not in said
    assert "up to date" in run(first, "dvc", "status", *_STAGES)


def test_metrics_plots_and_experiments_work_as_an_analyst_expects(first):
    told = run(first, "dvc", "metrics", "show", "--json")
    assert {"reports/judgement.json", "verdict", "reads_high"} <= set(re.findall(r"[\w./]+", told))
    run(first, "dvc", "exp", "run", "-q", "-S", "train.rounds=60", "judge")
    changed = run(first, "dvc", "metrics", "diff", "--json")
    apart = json.loads(changed)["reports/judgement.json"]
    assert any(name.startswith("figures.rms") for name in apart)
    assert any(name.startswith("new.") for name in apart)
    assert not any(name.startswith("old.id") or name == "old.sheets" for name in apart)
    assert "train.rounds" in run(first, "dvc", "params", "diff", "--json")
    run(first, "git", "checkout", "-q", "--", "params.yaml", "dvc.lock", "reports", "pullbook")
    run(first, "dvc", "checkout", "-q")


def test_the_bundle_and_the_data_set_are_declared_as_artifacts(first):
    declared = yaml.safe_load((first / "dvc.yaml").read_text())["artifacts"]
    made = versions(first)
    assert all(one["path"] in made for one in declared.values())
    assert {one["type"] for one in declared.values()} == {"model", "dataset"}


def test_a_remote_is_one_line_and_gives_everything_back(first, tmp_path):
    run(first, "dvc", "remote", "add", "-q", "-d", "shared", str(tmp_path / "remote"))
    run(first, "dvc", "push", "-q")
    run(first, "git", "commit", "-qam", "a remote")
    run(first, "git", "clone", "-q", str(first), str(tmp_path / "clone"))
    clone = tmp_path / "clone"
    run(clone, "dvc", "pull", "-q")
    for name in ("data/curated/builds.parquet", "data/bundle/bundle.json"):
        assert (clone / name).read_bytes() == (first / name).read_bytes()


def test_a_contribution_that_was_altered_is_noticed_and_put_right(first):
    """What was contributed is never altered: DVC sees it, and gives back what there was."""
    victim = sorted((first / "data/contributed/earlier/accepted").iterdir())[0]
    before = victim.read_bytes()
    victim.chmod(0o644)
    victim.write_bytes(before.replace(b"bore: ", b"bore: 1", 1))
    assert "modified" in run(first, "dvc", "status")
    run(first, "dvc", "checkout", "-q", "--force")
    assert victim.read_bytes() == before


def test_the_record_grows_by_a_line_a_batch(first):
    record = pd.read_csv(first / "reports/record.csv")
    told = json.loads((first / "reports/drift.json").read_text())
    assert len(record) == 1
    assert record["sheets"].item() == told["new"]["sheets"] > 10
    assert record["new_shops"].item() == 2
