"""Bundles written before: of this format number they answer as they did, of older ones not."""

import json
import shutil
from pathlib import Path

import pytest

import pullbook
from pullbook.model.training import bundle

BUNDLES = Path(__file__).parent / "bundles"
#: What wording may change, and what stands beside numbers.
_WORDS = {"message"}


def numbers(value, path=()):
    """Return everything in a JSON answer but its wording, by where it stands."""
    if isinstance(value, dict):
        parts = [numbers(v, (*path, k)) for k, v in value.items() if k not in _WORDS]
        return {place: one for part in parts for place, one in part.items()}
    if isinstance(value, list):
        parts = [numbers(v, (*path, i)) for i, v in enumerate(value)]
        return {place: one for part in parts for place, one in part.items()}
    return {path: value}


def test_a_bundle_of_this_format_answers_as_it_did():
    (answer,) = pullbook.predict(BUNDLES / "question.yaml", BUNDLES / "format-6")
    before = numbers(json.loads((BUNDLES / "answer.json").read_text(encoding="utf-8")))
    now = numbers(json.loads(json.dumps(answer.as_json())))
    assert set(before) <= set(now)
    for place, value in before.items():
        expected = value if not isinstance(value, float) else pytest.approx(value, abs=0.011)
        assert now[place] == expected, place


def test_before_rounding_curves_agree_to_a_millionth():
    model, _ = bundle.load(BUNDLES / "format-6")
    golden = json.loads((BUNDLES / "format-6" / bundle.GOLDEN).read_text(encoding="utf-8"))
    again = json.loads(json.dumps(bundle._golden(model)))
    flat, expected = numbers(again), numbers(golden)
    assert flat == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("number", "cure"), [(1, "pullbook train"), (5, "pullbook train"), (99, "update pullbook")]
)
def test_another_format_says_what_to_do(tmp_path, number, cure):
    folder = tmp_path / "old"
    shutil.copytree(BUNDLES / "format-6", folder)
    manifest = json.loads((folder / bundle.MANIFEST).read_text(encoding="utf-8"))
    manifest["format"] = number
    (folder / bundle.MANIFEST).write_text(json.dumps(manifest), encoding="utf-8")
    with pytest.raises(bundle.BundleError, match=cure):
        bundle.load(folder)
