"""A bundle from a stranger is refused in one sentence: it crashes, hangs and answers nothing."""

import io
import json
import os
import socket
import subprocess
import time
import zipfile
from pathlib import Path

import crafted_bundle
import numpy as np
import pandas as pd
import pytest
from command_line import run
from peak_memory import peak

from pullbook.model.bundles import array_checks, bundle_folder, first_met
from pullbook.model.training import bundle
from pullbook.pipeline.storage import plain_arrays

SMALL = Path(__file__).parents[1] / "bundles" / "format-6"
QUESTION = Path(__file__).parents[1] / "bundles" / "question.yaml"


@pytest.fixture
def mine(tmp_path):
    return crafted_bundle.copy(SMALL, tmp_path / "bundle")


def refused(folder, match="bundle"):
    """Return the sentence that a bundle is refused with, within seconds."""
    start = time.perf_counter()
    with pytest.raises(bundle.BundleError, match=match) as raised:
        bundle.load(folder)
    assert time.perf_counter() - start < 30
    sentence = str(raised.value)
    assert "\n" not in sentence
    return sentence


def without_trial(monkeypatch):
    """Let nothing but the checks in this process stand between a bundle and its use."""
    monkeypatch.setattr(first_met, "meet", lambda *_: None)


# --- trees --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "end",
    ["\v", "\f", "\x1c", "\x1d", "\x1e", "\x85", "\u2028", "\u2029", "\r", "\0", "\t", "\xe9"],
)
def test_only_a_newline_ends_a_line_of_the_trees(mine, monkeypatch, end):
    """Python takes a vertical tab for the end of a line and LightGBM does not: it crashed."""
    without_trial(monkeypatch)
    text = (mine / "curve.txt").read_text()
    line = next(one for one in text.split("\n") if one.startswith("threshold="))
    crafted_bundle.edit_text(mine, "curve.txt", line + "\n", line + end)
    refused(mine, "character")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("tree\nversion=v4", "bush\nversion=v4"),
        ("num_leaves=", "num_leaves=-"),
        ("num_leaves=", "num_leaves=9999999999"),
        ("leaf_count=", "leaf_count=99999999999999999999 "),
        ("internal_count=", "internal_count=-"),
        ("split_feature=", "split_feature=-"),
        ("leaf_value=", "leaf_value=1e999 "),
        ("leaf_value=", "leaf_value=" + "9" * 400),
        ("leaf_value=", "leaf_value= "),
        ("threshold=", "threshold=nan "),
        ("threshold=", "threshold=1e999 "),
        ("threshold=", "threshold=1e-400 "),
        ("decision_type=", "decision_type=1"),
        ("shrinkage=", "shrinkage=inf"),
        ("is_linear=0", "is_linear=1"),
        ("num_cat=0", "num_cat=1"),
        ("max_feature_idx=", "max_feature_idx=9"),
        ("tree_sizes=", "tree_sizes=1"),
        ("Tree=1\n", "Tree=1\nTree=1\n"),
        ("end of trees\n", "end of trees\nend of trees\n"),
        ("version=v4", "version=v4\nlinear_tree=1"),
        ("objective=regression", "objective=poisson"),
        ("feature_names=rpm ", "feature_names=rpm rpm "),
    ],
)
def test_a_line_of_the_trees_that_training_does_not_write_is_refused(mine, monkeypatch, old, new):
    without_trial(monkeypatch)
    crafted_bundle.edit_trees(mine, old, new)
    refused(mine, "does not verify")


# --- arrays -------------------------------------------------------------------------------


def set_to(name, change):
    def apply(arrays):
        arrays[name] = change(arrays[name])

    return apply


def with_nan(array):
    array = np.array(array, dtype=float)
    array.flat[0] = np.nan
    return array


ARRAYS = [
    "speeds", "share", "curve.speeds", "process.center", "process.places", "process.weights",
    "process.level", "inputs.center", "effects.variances", "effects.others", "readings.doubt",
    "readings.target", "center", "scale", "relevance", "places", "thresholds", "ranges", "margin",
    "together", "shop_offsets", "sweeps", "new shop.point.values", "new shop.point.mass",
    "pairs.one shop.likeness", "pairs.two shops.mean.values", "pairs.changed parts.point.mass",
    "changes",
]  # fmt: skip


@pytest.fixture(scope="module")
def sound():
    """Return the arrays of a bundle, its columns and how many sheets it has."""
    contents = bundle_folder.read(SMALL)
    arrays = plain_arrays.read(contents.files["arrays.npz"], 64_000_000)
    return arrays, contents.manifest["columns"], contents.manifest["sheets"]


def checked(sound, name, array):
    """Check the arrays of a bundle with one of them put in place of what it was, or left out."""
    arrays = {**sound[0], name: array}
    if array is None:
        del arrays[name]
    array_checks.check(arrays, sound[1], sound[2], curve=True)


def through_a_file(array):
    out = io.BytesIO()
    np.savez(out, one=array)
    return plain_arrays.read(out.getvalue(), 64_000_000)["one"]


def test_the_arrays_that_training_writes_are_taken(sound):
    checked(sound, "speeds", sound[0]["speeds"])


@pytest.mark.parametrize("name", ARRAYS)
@pytest.mark.parametrize("harm", ["nan", "infinite", "huge", "shape", "kind", "missing"])
def test_an_array_that_training_does_not_write_is_refused(sound, name, harm):
    changes = {
        "nan": with_nan,
        "infinite": lambda a: np.full_like(a, np.inf),
        "huge": lambda a: np.full_like(a, 1e300),
        "shape": lambda a: np.concatenate([np.atleast_1d(a), np.atleast_1d(a)]),
        "kind": lambda a: a.astype(np.int64),
        "missing": lambda _: None,
    }
    array = changes[harm](sound[0][name])
    with pytest.raises((bundle.BundleError, plain_arrays.ArraysError)):
        checked(sound, name, array if array is None else through_a_file(array))


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("new shop.point.values", lambda a: a[::-1]),
        ("new shop.point.values", lambda a: -1 - a),
        ("new shop.point.mass", lambda a: a * 3),
        ("new shop.point.mass", lambda a: a[::-1]),
        ("new shop.point.groups", lambda a: a * 0 - 5),
        ("pairs.one shop.likeness", lambda a: a * 0 + [2.0, 1.0]),
        ("pairs.one shop.likeness", lambda a: a * 0 + [0.5, 0.0]),
        ("pairs.one shop.point.values", lambda a: a[:-1]),
        ("thresholds", lambda a: a[::-1] * [1, 0.5]),
        ("readings.sheet", lambda a: a + 10_000),
        ("readings.sheet", lambda a: a - 1),
        ("process.levels", lambda a: a - 9),
        ("inputs.group", lambda a: a + 100),
        ("speeds", lambda a: a[::-1]),
        ("speeds", lambda a: a * 0),
        ("share", lambda a: a * 0 + 4),
        ("seen", lambda a: np.where(a == a[0, 1], "warp drive", a)),
        ("swaps", lambda a: np.full_like(a, "bore")),
        ("shop_codes", lambda a: np.full_like(a, a[0])),
        ("names", lambda a: np.full_like(a, a[0])),
        ("scale", lambda a: a * 0),
    ],
)
def test_an_array_out_of_its_range_or_order_is_refused(sound, name, change):
    with pytest.raises(bundle.BundleError, match="does not verify"):
        checked(sound, name, change(sound[0][name]))


def test_a_bundle_with_odd_arrays_is_refused_as_a_whole(mine, monkeypatch):
    without_trial(monkeypatch)
    crafted_bundle.edit_arrays(mine, set_to("thresholds", with_nan))
    refused(mine, "not finite")
    crafted_bundle.edit_arrays(mine, set_to("thresholds", lambda _: np.array([0.5, 0.1])))
    refused(mine, "'thresholds'")
    crafted_bundle.edit_arrays(mine, set_to("thresholds", lambda _: np.array([0.1, 0.5])))
    crafted_bundle.edit_arrays(mine, set_to("own_dyno", lambda a: ~a))
    refused(mine, "says otherwise")


def test_another_array_than_a_bundles_is_refused(mine, monkeypatch):
    without_trial(monkeypatch)
    crafted_bundle.edit_arrays(mine, lambda arrays: arrays.update(more=np.zeros(3)))
    assert "'more'" in refused(mine)


def crafted_header(shape, descr="<f8", body=b""):
    header = repr({"descr": descr, "fortran_order": False, "shape": shape})
    padded = header.ljust(118 - 1) + "\n"
    return b"\x93NUMPY\x01\x00" + len(padded).to_bytes(2, "little") + padded.encode() + body


@pytest.mark.parametrize(
    "entry",
    [
        crafted_header((400_000_000,)),
        crafted_header((3 << 30,), "|u1"),
        crafted_header((-5,)),
        crafted_header((2, 2, 2), body=b"\0" * 64),
        crafted_header((1,), "|O", b"\0" * 8),
        crafted_header((1,), "<U999999999", b"\0" * 8),
        crafted_header((1,), [("a", "<f8")], b"\0" * 8),
        b"\x93NUMPY\x03\x00" + b"\xff" * 300,
        b"not an array",
        b"",
    ],
)
def test_a_header_that_claims_too_much_costs_no_memory(entry):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("speeds.npy", entry)
    before = peak(anew=True)
    with pytest.raises(plain_arrays.ArraysError):
        plain_arrays.read(out.getvalue(), 64_000_000)
    assert peak() - before < 100


def zeros(count):
    out = io.BytesIO()
    with (
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("speeds.npy", "w", force_zip64=True) as file,
    ):
        file.write(crafted_header((count * 125_000,)))
        for _ in range(count):
            file.write(b"\0" * 1_000_000)
    return out.getvalue()


@pytest.mark.slow
def test_an_archive_of_zeros_is_refused_before_it_is_unpacked(mine, monkeypatch):
    without_trial(monkeypatch)
    (mine / "arrays.npz").write_bytes(zeros(400))
    crafted_bundle.sign(mine)
    before = peak(anew=True)
    assert "too large" in refused(mine)
    assert peak() - before < 100


def test_an_archive_with_a_name_twice_is_refused(mine, monkeypatch):
    without_trial(monkeypatch)
    data = (mine / "arrays.npz").read_bytes()
    out = io.BytesIO(data)
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(out, "a") as archive:
        archive.writestr("speeds.npy", crafted_header((1,), body=b"\0" * 8))
    (mine / "arrays.npz").write_bytes(out.getvalue())
    crafted_bundle.sign(mine)
    assert "twice" in refused(mine)


@pytest.mark.parametrize(
    "change",
    [
        lambda a: a.update(covariance=-a["covariance"] * np.inf),
        lambda a: a.update(covariance=a["covariance"][:5]),
        lambda a: a.update(scale=a["scale"] * 0),
        lambda a: a.update(center=a["center"][:-1]),
        lambda a: a.update(more=a["center"]),
        lambda a: a.pop("names"),
    ],
)
def test_a_filling_that_training_does_not_write_is_refused(mine, monkeypatch, change):
    without_trial(monkeypatch)
    with np.errstate(all="ignore"):
        crafted_bundle.edit_arrays(mine, change, "filling.npz")
    refused(mine)


# --- builds -------------------------------------------------------------------------------


def edit_sheets(folder, change):
    table = pd.read_parquet(folder / "sheets.parquet")
    change(table).to_parquet(folder / "sheets.parquet", index=False)
    crafted_bundle.sign(folder)


@pytest.mark.parametrize(
    "change",
    [
        lambda t: t.assign(bore=1e9),
        lambda t: t.assign(bore=np.inf),
        lambda t: t.assign(bore="4"),
        lambda t: t.assign(intake_type="warp drive"),
        lambda t: t.assign(cylinders=None).astype({"cylinders": "Int64"}),
        lambda t: t.assign(sheet_id="one"),
        lambda t: t.assign(sheet_id="x" * 5000),
        lambda t: t.assign(extra=1.0),
        lambda t: t.drop(columns="sheet_id"),
        lambda t: t.head(0),
        lambda t: t.head(3),
        lambda t: t.assign(shop="own-0123456789abcdef"),
        lambda t: t.iloc[np.zeros(41_000, int)].assign(sheet_id=[str(i) for i in range(41_000)]),
    ],
)
def test_builds_that_training_does_not_write_are_refused(mine, monkeypatch, change):
    without_trial(monkeypatch)
    edit_sheets(mine, change)
    refused(mine)


# --- files of the folder ------------------------------------------------------------------


def odd(kind, path):
    path.unlink()
    if kind == "fifo":
        os.mkfifo(path)
    elif kind == "socket":
        with socket.socket(socket.AF_UNIX) as one:
            one.bind(os.path.relpath(path))
    elif kind == "link":
        path.symlink_to("/etc/hostname")
    elif kind == "link to itself":
        path.symlink_to(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "folder":
        path.mkdir()


@pytest.mark.parametrize("name", [bundle_folder.MANIFEST, *bundle_folder.FILES])
@pytest.mark.parametrize("kind", ["fifo", "socket", "link", "link to itself", "device", "folder"])
def test_a_file_that_is_none_is_refused_at_once(mine, name, kind):
    odd(kind, mine / name)
    refused(mine)


@pytest.mark.parametrize("kind", ["file", "link", "folder"])
def test_what_is_no_part_of_a_bundle_is_named(mine, kind):
    other = mine / "readme.txt"
    {"file": other.touch, "folder": other.mkdir, "link": lambda: other.symlink_to("/etc/passwd")}[
        kind
    ]()
    assert "'readme.txt'" in refused(mine)


@pytest.mark.parametrize(
    "changes",
    [
        {"files": []}, {"files": {"curve.txt": 5}}, {"columns": {"a": 1}}, {"columns": [1, 2]},
        {"columns": "rpm"}, {"settings": [1]}, {"settings": {"rounds": []}}, {"sheets": "many"},
        {"shops": -3}, {"shops": 1e400}, {"invented": "yes"}, {"own_dyno": 0}, {"private": []},
        {"format": [6]}, {"format": 6.0}, {"format": True}, {"format": "6"}, {"format": 5},
        {"format": 10**4000}, {"sheets": 7},
    ],
)  # fmt: skip
def test_a_manifest_of_another_shape_is_one_sentence(mine, monkeypatch, changes):
    without_trial(monkeypatch)
    path = mine / bundle_folder.MANIFEST
    manifest = json.loads(path.read_text()) | changes
    try:
        manifest["id"] = bundle_folder.identity(manifest)
        path.write_text(json.dumps(manifest))
    except ValueError:  # Python itself writes no number so long
        path.write_text('{"format": ' + "1" * 20_000 + "}")
    refused(mine)
    done = run("predict", QUESTION, "--bundle", mine)
    assert done.returncode == 2
    assert "error in the program" not in done.stderr
    assert "holds no bundle" in done.stderr or "bundle" in done.stderr


@pytest.mark.parametrize("text", ["[]", "5", "null", '"x"', "[" * 100_000, "{}", "\0", ""])
def test_a_manifest_that_is_none_is_one_sentence(mine, text):
    (mine / bundle_folder.MANIFEST).write_text(text)
    done = run("predict", QUESTION, "--bundle", mine)
    assert done.returncode == 2
    assert "error in the program" not in done.stderr


def test_a_format_above_ours_says_to_update(mine):
    crafted_bundle.sign(mine, format=bundle.FORMAT + 1)
    assert "update pullbook" in refused(mine)


# --- the trial ----------------------------------------------------------------------------


def test_a_bundle_that_kills_the_process_that_tries_it_is_refused(mine, monkeypatch):
    """Whatever the checks overlook: the process of the trial dies, this one says so."""
    monkeypatch.setattr(first_met, "_CODE", "import os; os.kill(os.getpid(), 11)")
    assert "brought down" in refused(mine)
    monkeypatch.setattr(first_met, "_CODE", "import time; time.sleep(60)")
    monkeypatch.setattr(first_met, "_SECONDS", 0.5)
    assert "not read within" in refused(mine)
    monkeypatch.undo()
    assert bundle.load(mine)


def count_trials(monkeypatch):
    """Let every trial go well at once; return a list that grows with each."""
    tried = []

    def run_nothing(*_, **__):
        tried.append(1)
        return subprocess.CompletedProcess([], 0)

    monkeypatch.setattr(first_met.subprocess, "run", run_nothing)
    return tried


def trial(folder, match="bundle"):
    """Return the sentence that the trial of a bundle ends with, had here."""
    with pytest.raises(bundle.BundleError, match=match) as raised:
        bundle._try(folder, bundle_folder.read(folder).digest)
    return str(raised.value)


@pytest.mark.slow
def test_a_bundle_is_tried_once(mine, monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    tried = count_trials(monkeypatch)
    for _ in range(3):
        bundle.load(mine)
    assert len(tried) == 1
    crafted_bundle.sign(mine, made_with={"python": "another"})
    bundle.load(mine)
    assert len(tried) == 2


@pytest.mark.slow
def test_a_bundle_is_tried_anew_where_nothing_can_be_remembered(mine, monkeypatch, tmp_path):
    (tmp_path / "state").write_text("in the way")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    tried = count_trials(monkeypatch)
    for _ in range(2):
        assert bundle.load(mine)
    assert len(tried) == 2


def test_golden_answers_that_differ_are_refused(mine):
    golden = json.loads((mine / "golden.json").read_text())
    golden["curves"][0][0] += 0.01
    (mine / "golden.json").write_text(json.dumps(golden))
    crafted_bundle.sign(mine)
    trial(mine, "other curves")


@pytest.mark.parametrize("golden", ["{}", '{"curves": "x", "spreads": {}}'])
def test_golden_answers_of_another_shape_are_refused(mine, golden):
    (mine / "golden.json").write_text(golden)
    crafted_bundle.sign(mine)
    assert "\n" not in trial(mine)


def test_no_module_is_taken_from_the_folder_one_stands_in(mine, tmp_path, monkeypatch):
    trap = tmp_path / "sprung"
    for name in ("numpy", "json", "pandas"):
        (tmp_path / f"{name}.py").write_text(f"open({str(trap)!r}, 'w')\nraise SystemExit(1)\n")
    monkeypatch.chdir(tmp_path)
    assert bundle.load(mine)
    assert not trap.exists()


def test_the_bundle_that_comes_along_reproduces_its_curves():
    import pullbook

    folder = Path(pullbook.__file__).parent / "invented"
    bundle._try(folder, bundle_folder.read(folder).digest)


# --- promotions ---------------------------------------------------------------------------


@pytest.fixture
def registry(mine, tmp_path):
    folder = tmp_path / "models"
    assert run("promote", mine, "--into", folder).returncode == 0
    return folder


def state(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith(".lock")
    }


def test_a_link_in_a_bundle_brings_no_file_of_the_house_into_the_promotions(mine, tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("of the house")
    (mine / "notes.txt").symlink_to(secret)
    done = run("promote", mine, "--into", tmp_path / "models")
    assert done.returncode == 2
    assert not (tmp_path / "models").exists()
    (mine / "notes.txt").unlink()
    (mine / "curve.txt").rename(tmp_path / "curve.txt")
    (mine / "curve.txt").symlink_to(tmp_path / "curve.txt")
    assert run("promote", mine, "--into", tmp_path / "models").returncode == 2


def test_the_bundle_in_use_stays_when_the_new_one_is_broken(registry, tmp_path):
    before = state(registry)
    broken = crafted_bundle.copy(SMALL, tmp_path / "broken")
    crafted_bundle.edit_text(broken, "curve.txt", "leaf_value=", "leaf_value=nan ")
    done = run("promote", broken, "--into", registry, "--although", "I want it")
    assert done.returncode == 2
    assert state(registry) == before
    assert run("predict", QUESTION, "--bundle", registry).returncode == 0


@pytest.mark.parametrize(
    "line",
    [
        "2026-01-01,../../secret,,first,",
        "2026-01-01,/etc,,first,",
        "2026-01-01,,,first,",
        "2026-01-01,0123456789abcdef",
        "2026-01-01,0123456789abcdef,,first,,more,more",
        "2026-01-01,0123456789ABCDEF\x00,,first,",
    ],
)
def test_a_path_in_the_record_is_not_followed(registry, line):
    record = registry / "promotions.csv"
    record.write_text("on,bundle,before,verdict,why\n" + line + "\n")
    before = state(registry)
    for words in (
        ("predict", QUESTION, "--bundle", registry),
        ("promote", "--back", "--into", registry),
        ("promote", SMALL, "--into", registry, "--although", "x"),
    ):
        done = run(*words)
        assert done.returncode == 2
        assert "cannot be read as a record" in " ".join(done.stderr.split())
    assert state(registry) == before


@pytest.mark.parametrize("kind", ["fifo", "folder", "link to itself", "device"])
def test_a_record_that_is_no_file_is_one_sentence(registry, kind):
    odd(kind, registry / "promotions.csv")
    done = run("predict", QUESTION, "--bundle", registry)
    assert done.returncode == 2
    assert "error in the program" not in done.stderr


@pytest.mark.parametrize(
    "judgement",
    [
        '{"verdict": []}', '{"verdict": "better", "old": 5, "new": 7, "reasons": [1]}',
        '{"verdict": "worse", "old": {"id": "OLD"}, "new": {"id": "NEW"}, "reasons": [1, null]}',
        '{"verdict": "worse", "old": {"id": "OLD"}, "new": {"id": "NEW"}, "reasons": 5}',
        '{"verdict": {}, "old": {"id": "OLD"}, "new": {"id": "NEW"}, "reasons": {}}',
        "[" * 100_000, "[]", "\0",
    ],
)  # fmt: skip
def test_an_odd_judgement_is_one_sentence(registry, tmp_path, judgement):
    new = crafted_bundle.copy(SMALL, tmp_path / "new")
    crafted_bundle.sign(new, invented=True)
    old = (registry / "promotions.csv").read_text().split("\n")[1].split(",")[1]
    identity = json.loads((new / "bundle.json").read_text())["id"]
    path = tmp_path / "judgement.json"
    path.write_text(judgement.replace("OLD", old).replace("NEW", identity))
    done = run("promote", new, "--into", registry, "--judgement", path)
    assert done.returncode == 2
    assert "error in the program" not in done.stderr
    assert (registry / "promotions.csv").read_text().count("\n") == 2


def test_a_broken_bundle_is_not_judged(demo, tmp_path, monkeypatch):
    without_trial(monkeypatch)
    broken = crafted_bundle.copy(SMALL, tmp_path / "broken")
    crafted_bundle.edit_arrays(broken, set_to("thresholds", with_nan))
    for old, new in ((demo.bundle, broken), (broken, demo.bundle)):
        done = run("judge", old, new, "--on", demo.folder / "curated")
        assert done.returncode == 2
        assert "does not verify" in " ".join(done.stderr.split())


@pytest.mark.parametrize("doubts", ["5", "[5]"])
def test_an_odd_drift_report_is_one_sentence(demo, tmp_path, doubts):
    identity = json.loads((demo.bundle / "bundle.json").read_text())["id"]
    path = tmp_path / "drift.json"
    path.write_text(json.dumps({"new": {"bundle": identity}, "doubts": json.loads(doubts)}))
    done = run("judge", demo.bundle, demo.bundle, "--on", demo.folder / "curated", "--drift", path)
    assert done.returncode == 2
    assert "error in the program" not in done.stderr


# --- signed bundles -----------------------------------------------------------------------


def test_a_signed_bundle_is_trusted_by_its_key_and_no_other(demo, tmp_path):
    from pullbook.model.bundles import bundle_signature

    signer = bundle_signature.signer(demo.key)
    bundle.save(demo.model, tmp_path / "signed", signer=signer)
    trusted, other = tmp_path / "trusted.txt", tmp_path / "other.txt"
    trusted.write_text(f"# the circle's analyst\n{signer.public_key}  # since spring\n")
    other.write_text(bundle_signature.signer(b"x" * 40).public_key)
    words = ("predict", QUESTION, "--bundle")
    assert run(*words, tmp_path / "signed", "--trust", trusted).returncode == 0
    assert run(*words, tmp_path / "signed").returncode == 0
    assert "not among" in " ".join(
        run(*words, tmp_path / "signed", "--trust", other).stderr.split()
    )
    assert "not signed" in " ".join(run(*words, demo.bundle, "--trust", trusted).stderr.split())
    changed = crafted_bundle.copy(tmp_path / "signed", tmp_path / "changed")
    crafted_bundle.sign(changed, invented=True)
    for trust in ((), ("--trust", trusted)):
        done = run(*words, changed, *trust)
        assert done.returncode == 2
        assert "signature" in done.stderr


@pytest.mark.parametrize("text", ["", "# nothing\n", "abc\n", "\0", "x" * 200_000])
def test_a_file_of_trusted_keys_that_holds_none_is_refused(tmp_path, text):
    path = tmp_path / "trusted.txt"
    path.write_text(text)
    done = run("predict", QUESTION, "--bundle", SMALL, "--trust", path)
    assert done.returncode == 2
    assert "key" in done.stderr


# --- answers ------------------------------------------------------------------------------


def test_torque_that_no_engine_makes_is_no_answer(mine, monkeypatch):
    """Leaves of 1e5 are numbers like any other, and make a torque that overflows."""
    without_trial(monkeypatch)
    lines = (mine / "curve.txt").read_text().split("\n")
    for at, line in enumerate(lines):
        if line.startswith("leaf_value="):
            lines[at] = "leaf_value=" + " ".join(["1e5"] * len(line.split(" ")))
    (mine / "curve.txt").write_text(crafted_bundle.fit_sizes("\n".join(lines)))
    crafted_bundle.sign(mine)
    assert bundle.load(mine)
    done = run("predict", QUESTION, "--bundle", mine, "--json")
    assert (done.returncode, done.stdout) == (2, "")
    assert "no engine makes" in " ".join(done.stderr.split())
    trial(mine, "damaged")
