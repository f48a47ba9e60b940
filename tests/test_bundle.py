"""Bundles: what was saved comes back, and what was tampered with does not."""

import json
import shutil

import numpy as np
import pytest

from pullbook.model.bundles import bundle_folder
from pullbook.model.prediction.predict import predict
from pullbook.model.training import bundle


@pytest.fixture
def copy(demo, tmp_path):
    shutil.copytree(demo.bundle, tmp_path / "bundle")
    return tmp_path / "bundle"


def test_a_loaded_model_says_what_the_trained_one_said(demo):
    model, told = bundle.load(demo.bundle)
    some = demo.builds.iloc[::80]
    codes = [demo.builds["shop"].iloc[0]] * len(some)
    for a, b in zip(predict(demo.model, some, codes), predict(model, some, codes), strict=True):
        assert np.allclose(a.log_torque, b.log_torque, atol=1e-12)
        assert a.half_width(0.9) == pytest.approx(b.half_width(0.9))
        assert (a.standing, a.reasons) == (b.standing, b.reasons)
    assert told == {
        "id": told["id"],
        "format": bundle.FORMAT,
        "sheets": len(demo.builds),
        "shops": demo.builds["shop"].nunique(),
        "invented": False,
        "own_dyno": False,
        "private": False,
    }


def test_the_same_model_gives_the_same_bytes(demo, tmp_path):
    assert bundle.save(demo.model, tmp_path) == bundle.load(demo.bundle)[1]["id"]
    for path in demo.bundle.iterdir():
        assert path.read_bytes() == (tmp_path / path.name).read_bytes(), path.name


def test_a_bundle_holds_no_pickle_and_stays_small(demo):
    files = {path.name: path.read_bytes() for path in demo.bundle.iterdir()}
    assert sum(map(len, files.values())) < 3e6
    for name, data in files.items():
        assert not data.startswith(b"\x80"), name
        assert b"sklearn" not in data or name == "bundle.json"
        assert name.endswith((".json", ".txt", ".npz", ".parquet"))


@pytest.mark.parametrize("name", [*bundle.FILES, bundle.MANIFEST])
@pytest.mark.parametrize("harm", ["cut", "edit", "gone", "empty", "swap"])
def test_a_damaged_file_is_one_clear_error(copy, name, harm):
    path = copy / name
    data = path.read_bytes()
    if harm == "cut":
        path.write_bytes(data[: len(data) // 2])
    elif harm == "edit":
        path.write_bytes(data[:100] + bytes([data[100] ^ 1]) + data[101:])
    elif harm == "gone":
        path.unlink()
    elif harm == "empty":
        path.write_bytes(b"")
    else:
        path.write_bytes(
            (copy / ("curve.txt" if name != "curve.txt" else "spread.txt")).read_bytes()
        )
    with pytest.raises(bundle.BundleError) as fault:
        bundle.load(copy)
    assert str(copy) in str(fault.value)


def signed(folder, **changes):
    """Make the manifest fit the files again, as somebody with bad intent would."""
    path = folder / bundle.MANIFEST
    manifest = json.loads(path.read_text()) | changes
    for name in bundle.FILES:
        manifest["files"][name] = bundle_folder.fingerprint((folder / name).read_bytes())
    manifest["id"] = bundle_folder.identity(manifest)
    path.write_text(json.dumps(manifest))


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("curve.txt", "left_child=1", "left_child=7"),
        ("curve.txt", "leaf_value=", "leaf_value=nan "),
        ("curve.txt", "Tree=0", "Tree=0\nnum_leaves=1000000"),
        ("curve.txt", "leaf_value=-", "leaf_value=-9"),
        ("spread.txt", "tree\n", "shrub\n"),
        ("golden.json", "[", "[[["),
    ],
)
def test_a_hostile_bundle_with_fitting_hashes_is_caught(copy, name, old, new):
    text = (copy / name).read_text()
    assert old in text
    (copy / name).write_text(text.replace(old, new, 1))
    signed(copy)
    with pytest.raises(bundle.BundleError):
        bundle.load(copy)


def test_a_pickle_in_the_arrays_is_not_opened(copy, tmp_path):
    trap = tmp_path / "sprung"

    class Trap:
        def __reduce__(self):
            return (trap.touch, ())

    with (copy / "arrays.npz").open("wb") as file:
        np.savez(file, speeds=np.array([Trap()], dtype=object))
    signed(copy)
    with pytest.raises(bundle.BundleError):
        bundle.load(copy)
    assert not trap.exists()


@pytest.mark.parametrize(
    "changes", [{"format": 1}, {"format": 99}, {"format": None}, {"columns": ["rpm"]}]
)
def test_another_format_is_told(copy, changes):
    signed(copy, **changes)
    with pytest.raises(bundle.BundleError):
        bundle.load(copy)


def test_a_folder_that_is_no_bundle_is_told(tmp_path):
    with pytest.raises(bundle.BundleError, match="pullbook train"):
        bundle.load(tmp_path)
