"""A contribution killed at any moment and run again ends in the same state; two at once do too."""

import shutil
import signal
import subprocess
import sys
import time

import fault_injection
import pytest
from valid_sheet import PULL, sheet_text

from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.privacy.contributed_sheet import without_signature
from pullbook.pipeline.storage import locks

KEY = b"a key for the tests alone, long enough"


@pytest.fixture
def sheets(tmp_path):
    """Write good sheets, bad ones, and a corrected one over a first contribution."""
    folder = tmp_path / "in"
    folder.mkdir()
    for i in range(3):
        (folder / f"good-{i}.csv").write_text(sheet_text({"sheet_id": f"good-{i}"}))
        (folder / f"bad-{i}.csv").write_text(sheet_text({"sheet_id": f"bad-{i}", "bore": "99 in"}))
    contribute([folder], tmp_path / "before", KEY)
    (folder / "good-1.csv").write_text(sheet_text({"sheet_id": "good-1", "bore": "3.91 in"}))
    (folder / "bad-1.csv").write_text(sheet_text({"sheet_id": "bad-1"}))
    return folder


def state(folder):
    """Return every file below a folder with its content, but for signatures: counts may differ."""
    return {
        str(path.relative_to(folder)): without_signature(path.read_text())
        for path in folder.rglob("*")
        if path.is_file() and path.name != ".lock"
    }


def test_killed_at_every_step_and_run_again(tmp_path, sheets):
    shutil.copytree(tmp_path / "before", tmp_path / "whole")
    contribute([sheets], tmp_path / "whole", KEY)
    expected = state(tmp_path / "whole")
    assert any(name.startswith("superseded/") for name in expected)
    steps = 0
    while True:
        target = tmp_path / f"killed-{steps}"
        shutil.copytree(tmp_path / "before", target)
        with fault_injection.pulled(steps, kill=True) as plug:
            contribute([sheets], target, KEY)
        contribute([sheets], target, KEY)
        assert state(target) == expected, steps
        steps += 1
        if not plug.pulled:
            break
    assert steps > 10


def run(folder, into, key):
    code = "from pullbook.commands.main import run; run()"
    words = ["contribute", folder, "--into", into, "--key-file", key]
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, words)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@pytest.mark.slow
def test_a_real_kill_and_two_at_once(tmp_path, sheets):
    for i in range(60):
        (sheets / f"more-{i}.csv").write_text(sheet_text({"sheet_id": f"more-{i}"}))
    key = tmp_path / "key"
    key.write_bytes(KEY)
    key.chmod(0o600)
    contribute([sheets], tmp_path / "whole", KEY)
    target = tmp_path / "out"
    first = run(sheets, target, key)
    deadline = time.monotonic() + 60
    while not list(target.glob("accepted/*.csv")) and time.monotonic() < deadline:
        time.sleep(0.005)
    first.send_signal(signal.SIGKILL)
    first.wait()
    both = [run(sheets, target, key) for _ in range(2)]
    assert [process.wait() for process in both] == [1, 1]
    assert state(target) == state(tmp_path / "whole")


def test_a_lock_that_is_never_given_back_is_said(tmp_path, sheets, monkeypatch):
    from filelock import FileLock

    (tmp_path / "out").mkdir()
    monkeypatch.setattr(locks, "PATIENCE", 0.1)
    with FileLock(tmp_path / "out" / ".lock"), pytest.raises(TimeoutError, match="another"):
        contribute([sheets], tmp_path / "out", KEY)


def test_a_corrected_sheet_takes_the_place_and_the_old_ones_are_kept(tmp_path):
    path = tmp_path / "in" / "a.csv"
    path.parent.mkdir()
    versions = []
    for ratio in ("9.4", "9.6", "9.4", "9.9"):
        path.write_text(sheet_text({"compression_ratio": ratio}))
        outcome = contribute([path], tmp_path / "out", KEY)
        versions.append(outcome.plan.accepted[0].text)
    assert (outcome.new, outcome.superseding, outcome.unchanged) == (0, 1, 0)
    (now,) = (tmp_path / "out" / "accepted").iterdir()
    kept = sorted((tmp_path / "out" / "superseded").iterdir())
    assert without_signature(now.read_text()) == versions[-1]
    assert [without_signature(p.read_text()) for p in kept] == versions[:-1]
    again = contribute([path], tmp_path / "out", KEY)
    assert (again.new, again.superseding, again.unchanged) == (0, 0, 1)


def test_a_mended_sheet_leaves_the_refused(tmp_path):
    path = tmp_path / "in" / "a.csv"
    path.parent.mkdir()
    path.write_text(sheet_text({"bore": "99 in"}))
    contribute([path], tmp_path / "out", KEY)
    assert len(list((tmp_path / "out" / "refused").glob("*.csv"))) == 1
    path.write_text(sheet_text({"bore": "99 mm"}))
    contribute([path], tmp_path / "out", KEY)
    assert list((tmp_path / "out" / "refused").glob("*.csv")) == []
    assert len(list((tmp_path / "out" / "accepted").iterdir())) == 1


def test_different_sheets_under_one_name_are_refused_and_equal_ones_are_one(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "a.csv").write_text(sheet_text())
    (folder / "b.csv").write_text(sheet_text())
    outcome = contribute([folder], tmp_path / "same", KEY)
    assert len(outcome.plan.accepted) == 2
    assert len(list((tmp_path / "same" / "accepted").iterdir())) == 1
    (folder / "b.csv").write_text(sheet_text(pull=[PULL[0], *PULL[2:]]))
    outcome = contribute([folder], tmp_path / "apart", KEY)
    assert len(outcome.plan.refused) == 2
    assert {f.code for r in outcome.plan.refused for f in r.sheet.findings} >= {"repeated-field"}
