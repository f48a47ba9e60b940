"""Killed, or out of disk, at every step of every record: the old state is left, or the new."""

import contextlib
import datetime as dt
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import crafted_bundle
import fault_injection
import matplotlib as mpl
import pytest
from valid_sheet import sheet_text

from pullbook.charts import drawing
from pullbook.commands import output
from pullbook.model.bundles import bundle_folder
from pullbook.model.review import promotion_record, promotions
from pullbook.pipeline.curation import curate, data_set, jury, withdrawn_traces
from pullbook.pipeline.privacy import hand_over, key_file, pack, signatures, withdraw
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.settings import add_setting
from pullbook.pipeline.storage import whole_writes
from pullbook.reports import document
from pullbook.schemas.errors import PullbookError

SMALL = Path(__file__).parents[1] / "bundles" / "format-6"
KEY = b"the key of the shop, long enough it is"
SHOP = "Tern Quay Marine"
TODAY = dt.date(2026, 1, 2)


def state(folder):
    """Return what anybody sees in a folder: not what is hidden, half written or a lock."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
    }


@pytest.fixture(scope="module")
def contributed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shared")
    for number in range(3):
        (folder / f"{number}.csv").write_text(sheet_text({"sheet_id": f"s{number}"}))
    contribute([folder], folder / "out", KEY)
    curate.curate([folder / "out"]).write(folder / "curated")
    return folder


def bundle_over_another(folder, _):
    return lambda: whole_writes.write_folder(
        folder / "bundle", bundle_folder.read(folder / "new").all_files()
    )


def promotion(folder, _):
    return lambda: promotions.promote(folder / "new", folder / "models", None, TODAY, "a reason")


def step_back(folder, _):
    promotions.promote(folder / "new", folder / "models", None, TODAY, "a reason")
    return lambda: promotions.back(folder / "models", TODAY)


def withdrawal_of_data(folder, _):
    one = withdraw.request(signatures.signer(KEY, SHOP), ["s1"], 99)
    return lambda: withdrawn_traces.take_out(one, folder / "curated")


def curation(folder, contributed):
    found = curate.curate([contributed / "out"])
    found.builds["factor"] = 1.25
    return lambda: found.write(folder / "curated")


def counts(folder, _):
    kept = key_file.Counts(folder / "key.counts")
    return lambda: kept.take("c", SHOP, 5)


def setting(folder, _):
    return lambda: add_setting.add(folder / "pullbook.yaml", ["units: {torque: N.m}"])


def handing_over(folder, _):
    one = hand_over.make(signatures.signer(KEY, SHOP), signatures.signer(b"x" * 40, SHOP), 7)
    return lambda: hand_over.keep(one, folder / "out")


def packing(folder, _):
    signer = signatures.signer(KEY, SHOP)
    return lambda: pack.pack(folder / "out", signer, 3, folder / "pack.zip")


RECORDS = [
    bundle_over_another, promotion, step_back, withdrawal_of_data, curation, counts, setting,
    handing_over, packing,
]  # fmt: skip


@pytest.fixture
def place(tmp_path, contributed):
    """Return a function that lays out a fresh folder with every record in its old state."""

    def lay(name):
        folder = tmp_path / name
        shutil.copytree(contributed / "out", folder / "out")
        shutil.copytree(contributed / "curated", folder / "curated")
        crafted_bundle.copy(SMALL, folder / "bundle")
        crafted_bundle.copy(SMALL, folder / "new")
        crafted_bundle.sign(folder / "new", made_with={"python": "3.99"})
        if not (tmp_path / "models").exists():
            promotions.promote(SMALL, tmp_path / "models", None, TODAY)
        shutil.copytree(tmp_path / "models", folder / "models")
        (folder / "key.counts").write_text('{"c": {"name": "x", "count": 4}}')
        (folder / "pullbook.yaml").write_text("# mine\nunits: {power: kW}\n")
        return folder

    return lay


@pytest.mark.slow
@pytest.mark.parametrize("kill", [True, False], ids=["killed", "disk full"])
@pytest.mark.parametrize("record", RECORDS)
def test_the_old_state_or_the_new_is_left(place, contributed, monkeypatch, record, kill):
    from pullbook.model.training import bundle

    monkeypatch.setattr(bundle, "load", lambda *_: None)  # its checks are tested elsewhere
    monkeypatch.setattr(bundle, "read", lambda folder, *_: bundle_folder.read(folder))
    whole = place("whole")
    act = record(whole, contributed)
    old = state(whole)
    act()
    new = state(whole)
    assert new != old
    at = 0
    while True:
        folder = place(f"at-{at}")
        act = record(folder, contributed)
        with fault_injection.pulled(at, kill=kill) as plug:
            try:
                act()
            except PullbookError:
                assert not kill
        now = state(folder)
        assert now == new or all(now[name] in (old.get(name), new.get(name)) for name in now)
        for group in ("bundle", "models", "curated"):
            own = [{k: v for k, v in one.items() if k.startswith(group)} for one in (now, old, new)]
            if group != "models":
                assert own[0] in own[1:], (group, at)
        if (folder / "models").exists():
            in_use = promotion_record.current(folder / "models")
            assert bundle_folder.read(in_use)
        if not plug.pulled:
            break
        again = record(folder, contributed) if record is not step_back else (lambda: None)
        try:
            again()
        except promotions.PromotionError:
            assert record is promotion  # it was in use already
        if record is not step_back:
            assert state(folder).keys() >= new.keys()
        shutil.rmtree(folder)
        at += 1
    assert at > 3


@pytest.mark.parametrize("name", ["page.html", "chart.svg", "chart.png"])
@pytest.mark.parametrize("kill", [True, False], ids=["killed", "disk full"])
def test_a_page_or_a_chart_is_the_old_or_the_new(tmp_path, name, kill):
    path = tmp_path / name
    figure, _ = drawing.panel(1.0)

    def act():
        with mpl.rc_context(drawing.STYLE):
            write()

    def write():
        if path.suffix == ".html":
            wanted = output.Wanted(as_json=False, plot=None, html=path)
            output.files(lambda: figure, lambda: document.Page("new"), wanted)
        else:
            drawing.save(figure, path)

    act()
    new, at = path.read_bytes(), 0
    while True:
        path.write_bytes(b"old")
        with fault_injection.pulled(at, kill=kill) as plug, contextlib.suppress(OSError):
            act()
        assert path.read_bytes() in (b"old", new)
        if not plug.pulled:
            break
        at += 1
    assert at > 2
    assert path.read_bytes() == new


def test_a_link_planted_where_something_is_written_is_not_followed(tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("of the house")
    record = tmp_path / "record.csv"
    record.symlink_to(secret)
    for name in (".record.csv.part", ".record.csv.1"):
        (tmp_path / name).symlink_to(secret)
    whole_writes.write_text(record, "new")
    assert secret.read_text() == "of the house"
    assert record.read_text() == "new" and not record.is_symlink()


def test_a_folder_of_somebody_elses_is_not_replaced(tmp_path, demo):
    from pullbook.model.training import bundle

    (tmp_path / "thesis.txt").write_text("years of work")
    with pytest.raises(bundle.BundleError, match="thesis"):
        bundle.save(demo.model, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_what_else_lies_beside_curated_tables_stays(tmp_path, contributed):
    found = curate.curate([contributed / "out"])
    (tmp_path / "notes.txt").write_text("mine")
    found.write(tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert data_set.load(tmp_path)


def test_jury_and_learning_part_change_in_one_step(tmp_path, demo):
    jury.split(demo.builds, demo.pulls, 0.2, tmp_path / "out")
    old = state(tmp_path / "out")
    for at in range(0, 12, 3):
        with fault_injection.pulled(at, kill=True):
            jury.split(demo.builds, demo.pulls, 0.5, tmp_path / "out")
        assert state(tmp_path / "out") == old


_SERVER = """
import sys, time
from pathlib import Path
from pullbook.workspace.folder import Folder
from pullbook.workspace.model_in_use import ModelInUse
from pullbook.workspace.retraining import Retraining
folder = Folder(Path(sys.argv[1]))
training = Retraining(folder, ModelInUse(folder))
training.begin()
print(training._process.pid, flush=True)
time.sleep(60)
"""


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no list of processes here")
def test_training_ends_with_a_page_that_is_killed(tmp_path):
    """What trains says nothing for a minute, so that it can only see that its page is gone."""
    late = "import shutil, time\nshutil.rmtree = lambda *_, **__: time.sleep(60)\n"
    (tmp_path / "sitecustomize.py").write_text(late)
    (tmp_path / "folder").mkdir()
    server = subprocess.Popen(
        [sys.executable, "-c", _SERVER, str(tmp_path / "folder")],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
    )
    with server:
        trains = int(server.stdout.readline())
        server.kill()
    try:
        end = time.monotonic() + 30
        while _runs(trains) and time.monotonic() < end:
            time.sleep(0.05)
        assert not _runs(trains)
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.kill(trains, signal.SIGKILL)


def _runs(number):
    """Return whether a process runs: one that ended and was not waited for does not."""
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
