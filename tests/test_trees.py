"""Trees: a sound text passes, a damaged one is caught before LightGBM's loader sees it."""

import numpy as np
import pytest
from crafted_bundle import fit_sizes
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pullbook.model.learning import boosted_trees, tree_text
from pullbook.model.learning.settings import Settings

COLUMNS = 4


@pytest.fixture(scope="module")
def text():
    rng = np.random.default_rng(0)
    matrix = rng.normal(size=(400, COLUMNS))
    target = matrix[:, 0] + 0.2 * matrix[:, 1] ** 2
    return boosted_trees.fit(matrix, target, np.ones(400), list("abcd"), Settings(rounds=20))


def test_a_sound_text_passes_and_predicts(text):
    tree_text.check(text, COLUMNS)
    rng = np.random.default_rng(1)
    matrix = rng.normal(size=(200, COLUMNS))
    predicted = boosted_trees.Trees(text).predict(matrix)
    assert np.corrcoef(predicted, matrix[:, 0])[0, 1] > 0.9


def test_the_same_fit_gives_the_same_text(text):
    rng = np.random.default_rng(0)
    matrix = rng.normal(size=(400, COLUMNS))
    target = matrix[:, 0] + 0.2 * matrix[:, 1] ** 2
    assert (
        boosted_trees.fit(matrix, target, np.ones(400), list("abcd"), Settings(rounds=20)) == text
    )


def first(text, name):
    return next(line for line in text.splitlines() if line.startswith(f"{name}="))


def broken(text, name, place, value):
    line = first(text, name)
    entries = line.split("=")[1].split()
    entries[place] = value
    return text.replace(line, f"{name}={' '.join(entries)}", 1)


@pytest.mark.parametrize(
    ("name", "place", "value"),
    [
        ("left_child", 0, "99"),
        ("left_child", 0, "0"),
        ("right_child", -1, "0"),
        ("right_child", 0, "-99"),
        ("split_feature", 0, "17"),
        ("split_feature", 0, "-1"),
        ("leaf_value", 0, "nan"),
        ("leaf_value", 0, "inf"),
        ("leaf_value", 0, "abc"),
        ("threshold", 0, "nan"),
        ("num_leaves", 0, "3"),
        ("num_leaves", 0, "2000000000"),
        ("num_cat", 0, "1"),
        ("decision_type", 0, "1"),
        ("decision_type", 0, "64"),
        ("is_linear", 0, "1"),
        ("tree_sizes", 0, "1"),
        ("tree_sizes", -1, "99999999"),
        ("num_class", 0, "3"),
        ("num_tree_per_iteration", 0, "0"),
        ("objective", 0, "lambdarank"),
        ("split_gain", 0, "1 2"),
    ],
)
def test_a_damaged_tree_is_caught(text, name, place, value):
    found = broken(text, name, place, value)
    with pytest.raises(tree_text.DamagedTreesError):
        tree_text.check(found if name == "tree_sizes" else fit_sizes(found), COLUMNS)


def test_a_split_that_leads_back_to_itself_is_caught(text):
    """Every split and leaf is still reached once, so that only the order gives it away."""
    sides = ("left_child", "right_child")
    children = [[int(one) for one in first(text, side).split("=")[1].split()] for side in sides]
    side, parent, other = next(
        (s, p, o) for s in (0, 1) for p, c in enumerate(children[s]) if c > 0
        for o in (0, 1) if children[o][c] < 0
    )  # fmt: skip
    split = children[side][parent]
    children[side][parent], children[other][split] = children[other][split], split
    for name, found in zip(sides, children, strict=True):
        text = text.replace(first(text, name), f"{name}={' '.join(map(str, found))}", 1)
    with pytest.raises(tree_text.DamagedTreesError, match="before its parent"):
        tree_text.check(fit_sizes(text), COLUMNS)


def test_more_trees_than_any_model_has_are_refused(text, monkeypatch):
    monkeypatch.setattr(tree_text, "_MOST_TREES", text.count("\nTree=") - 1)
    with pytest.raises(tree_text.DamagedTreesError, match="the limit is"):
        tree_text.check(text, COLUMNS)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9])
def test_a_text_cut_short_is_caught(text, share):
    with pytest.raises(tree_text.DamagedTreesError):
        tree_text.check(text[: int(share * text.index("end of trees"))], COLUMNS)


def test_trees_over_other_columns_are_caught(text):
    with pytest.raises(tree_text.DamagedTreesError):
        tree_text.check(text, COLUMNS + 1)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("num_leaves=", "num_leaves=3\nnum_leaves="),
        ("Tree=1\n", "Tree=1\n\n"),
        ("Tree=3\n", "Tree=4\n"),
        ("end of trees\n", "end of trees\nparameters:\n"),
        ("feature_names=a b", "feature_names=a  b"),
        ("tree\n", "tree\nmonotone_constraints=1\n"),
    ],
)
def test_a_line_too_many_is_caught(text, old, new):
    assert old in text
    with pytest.raises(tree_text.DamagedTreesError):
        tree_text.check(fit_sizes(text.replace(old, new, 1)), COLUMNS)


def test_a_tree_without_a_split_is_sound():
    text = boosted_trees.fit(
        np.zeros((60, 2)), np.arange(60.0), np.ones(60), ["a", "b"], Settings(rounds=3)
    )
    tree_text.check(text, 2)
    assert boosted_trees.Trees(text).predict(np.zeros((1, 2)))[0] == pytest.approx(29.5)


@settings(
    max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_no_edit_of_a_tree_makes_the_check_itself_fail(text, data):
    place = data.draw(st.integers(0, len(text) - 1))
    letter = data.draw(st.sampled_from("0123456789-. =\nabnif"))
    edited = text[:place] + letter + text[place + 1 :]
    try:
        tree_text.check(edited, COLUMNS)
    except tree_text.DamagedTreesError:
        return
    assert np.isfinite(boosted_trees.Trees(edited).predict(np.zeros((1, COLUMNS)))).all()


def test_a_missing_system_library_is_told_with_its_cure(monkeypatch):
    import builtins

    real = builtins.__import__

    def without(name, *rest):
        if name == "lightgbm":
            raise OSError("libgomp.so.1: cannot open shared object file")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(boosted_trees.MissingLibraryError, match="install libgomp1"):
        boosted_trees.library()
