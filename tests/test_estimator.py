"""The estimator: scikit-learn's own checks, limits by exact laws, and plain LightGBM beside it."""

import pickle

import lightgbm
import numpy as np
import pandas as pd
import pytest
from scipy import stats
from sklearn.base import clone
from sklearn.exceptions import NotFittedError
from sklearn.model_selection import GridSearchCV, GroupKFold
from sklearn.utils.estimator_checks import parametrize_with_checks

from pullbook.model.learning import smooth_curves, tree_text
from pullbook.model.scikit_learn.curve_regressor import CurveRegressor, NoLimitsError

QUICK = {"rounds": 60, "learning_rate": 0.1}


@parametrize_with_checks([CurveRegressor(**QUICK), CurveRegressor(**QUICK, rpm_column=-1)])
def test_scikit_learns_own_checks(estimator, check):
    check(estimator)


def curves(rng, groups, builds=3, points=15, scatter=8.0, offset=0.0):
    """Return readings of builds that groups swept: speed, size, breathing; torque; group."""
    count = groups * builds
    size, breath = rng.uniform(200, 450, count), rng.uniform(0, 1, count)
    rpm = np.sort(rng.uniform(1500, 6500, (count, points)), axis=1)
    peak = 3000 + 1500 * breath[:, None]
    torque = size[:, None] * (1.1 - 0.06 * ((rpm - peak) / 1000) ** 2)
    torque += scatter * rng.normal(size=torque.shape)
    group = np.repeat(np.arange(groups), builds)
    torque += offset * rng.normal(size=groups)[group][:, None]
    rows = [rpm.ravel(), np.repeat(size, points), np.repeat(breath, points)]
    return np.column_stack(rows), torque.ravel(), np.repeat(group, points)


def root_mean_square(error):
    return float(np.sqrt(np.mean(error**2)))


def test_it_errs_less_than_plain_lightgbm_on_groups_never_seen():
    rng = np.random.default_rng(1)
    x, y, _ = curves(rng, 40, scatter=12.0)
    new, truth, _ = curves(rng, 40, scatter=0.0)
    ours = CurveRegressor(rounds=300).fit(x, y)
    plain = lightgbm.LGBMRegressor(
        n_estimators=300, learning_rate=0.04, num_leaves=7, min_child_samples=40,
        subsample=0.7, subsample_freq=1, reg_lambda=3.0, random_state=1,
        verbosity=-1,
    ).fit(x, y)  # fmt: skip
    error = root_mean_square(ours.predict(new) - truth)
    beside = root_mean_square(plain.booster_.predict(new) - truth)
    assert error < beside
    assert error < 0.1 * root_mean_square(truth - truth.mean()) + 10


def test_at_a_point_of_the_grid_it_says_what_lightgbm_says_smoothed():
    """An independent route: LightGBM's trees by their text, and the smoother's equations solved."""
    x, y, _ = curves(np.random.default_rng(2), 10)
    x[::7, 2] = np.nan
    fitted = CurveRegressor(**QUICK).fit(x, y)
    speeds = fitted.grid_.speeds
    one = np.column_stack([speeds, np.full(len(speeds), 300.0), np.full(len(speeds), np.nan)])
    stairs = lightgbm.Booster(model_str=fitted.trees_.text).predict(one)
    bend = np.diff(np.eye(len(speeds)), 2, axis=0)
    wanted = np.linalg.solve(np.eye(len(speeds)) + smooth_curves.STRENGTH * bend.T @ bend, stairs)
    np.testing.assert_allclose(fitted.predict(one), wanted)
    beyond = [[100.0, 300.0, np.nan], [20000.0, 300.0, np.nan]]
    np.testing.assert_allclose(fitted.predict(beyond), wanted[[0, -1]])


def test_the_curve_bends_without_the_stairs_of_its_trees():
    x, y, _ = curves(np.random.default_rng(3), 20)
    fitted = CurveRegressor(rounds=200).fit(x, y)
    rpm = np.linspace(2000, 6000, 801)
    build = np.column_stack([rpm, np.full(801, 300.0), np.full(801, 0.5)])
    ours, stairs = fitted.predict(build), fitted.trees_.predict(build)
    assert np.abs(np.diff(ours)).max() < 0.25 * np.abs(np.diff(stairs)).max()


def test_a_reading_without_a_speed_is_answered_by_the_trees_alone():
    x, y, _ = curves(np.random.default_rng(4), 10)
    fitted = CurveRegressor(**QUICK).fit(x, y)
    some = x[:3].copy()
    some[1, 0] = np.nan
    assert fitted.predict(some)[1] == fitted.trees_.predict(some)[1]
    np.testing.assert_allclose(fitted.predict(some)[[0, 2]], fitted.predict(x[:3])[[0, 2]])
    x[:, 0] = np.nan
    with pytest.raises(ValueError, match="no reading has an engine speed"):
        CurveRegressor(**QUICK).fit(x, y)


def test_many_builds_are_answered_as_each_alone(monkeypatch):
    monkeypatch.setattr("pullbook.model.scikit_learn.trees_over_speed._AT_ONCE", 4)
    x, y, _ = curves(np.random.default_rng(5), 10)
    fitted = CurveRegressor(**QUICK).fit(x, y)
    alone = [fitted.predict(row[None, :])[0] for row in x[::9]]
    np.testing.assert_allclose(fitted.predict(x)[::9], alone)


@pytest.mark.parametrize("seed", range(6))
def test_coverage_of_groups_never_seen_is_within_the_exact_law(seed):
    """With one reading a group the coverage of 99 groups at 90 % is Beta(90, 10)."""
    rng = np.random.default_rng(100 + seed)
    x, y, group = curves(rng, 99, builds=1, points=1, scatter=40.0)
    new, measured, _ = curves(rng, 3000, builds=1, points=1, scatter=40.0)
    fitted = CurveRegressor(rounds=20).fit(x, y, groups=group)
    low, high = fitted.predict_interval(new, 0.9)
    inside = int(np.sum((low <= measured) & (measured <= high)))
    law = stats.betabinom(3000, 90, 10)
    assert law.cdf(inside) > 1e-3
    assert law.sf(inside - 1) > 1e-3


def coverage(rng, *, by_group):
    """Return the share of readings of new groups inside 80 % limits of a few known ones."""
    x, y, group = curves(rng, 9, builds=2, points=8, scatter=2.0, offset=40.0)
    new, measured, _ = curves(rng, 60, builds=1, points=5, scatter=2.0, offset=40.0)
    named = group if by_group else np.arange(len(y))
    fitted = CurveRegressor(rounds=30, folds=5).fit(x, y, groups=named)
    low, high = fitted.predict_interval(new, 0.8)
    return np.mean((low <= measured) & (measured <= high))


def test_limits_hold_where_groups_differ_and_rows_for_groups_would_break_them():
    """The second is the negative control: readings of one group taken for groups of their own."""
    honest = [coverage(np.random.default_rng(seed), by_group=True) for seed in range(30)]
    fooled = [coverage(np.random.default_rng(seed), by_group=False) for seed in range(30)]
    assert np.mean(honest) >= 0.8
    assert np.mean(fooled) < 0.74


def test_limits_are_wider_at_a_higher_level_and_lie_about_the_prediction():
    x, y, group = curves(np.random.default_rng(6), 20)
    fitted = CurveRegressor(**QUICK).fit(x, y, groups=group)
    narrow, wide = fitted.predict_interval(x, 0.5), fitted.predict_interval(x, level=0.95)
    assert (wide[0] < narrow[0]).all()
    assert (narrow[1] < wide[1]).all()
    np.testing.assert_allclose((wide[0] + wide[1]) / 2, fitted.predict(x))


def test_limits_that_cannot_be_given_say_what_is_missing():
    x, y, group = curves(np.random.default_rng(7), 8)
    with pytest.raises(NotFittedError):
        CurveRegressor().predict_interval(x)
    with pytest.raises(NoLimitsError, match=r"the fit had none: fit\(X, y, groups=...\)"):
        CurveRegressor(**QUICK).fit(x, y).predict_interval(x)
    fitted = CurveRegressor(**QUICK).fit(x, y, groups=group)
    with pytest.raises(NoLimitsError, match=r"limits at 0\.9 need 9 groups; the fit had 8"):
        fitted.predict_interval(x)
    with pytest.raises(ValueError, match="must be between 0 and 1"):
        fitted.predict_interval(x, 90)
    alone = CurveRegressor(**QUICK).fit(x, y, groups=np.zeros(len(y)))
    with pytest.raises(NoLimitsError, match=r"limits at 0\.3 need 2 groups; the fit had 1"):
        alone.predict_interval(x, 0.3)


@pytest.mark.parametrize(
    ("parameters", "said"),
    [
        ({"rounds": 0}, "rounds"),
        ({"leaves": 1}, "leaves"),
        ({"leaf_readings": 0}, "leaf_readings"),
        ({"folds": 1}, "folds"),
        ({"seed": -1}, "seed"),
        ({"learning_rate": 0.0}, "learning_rate"),
        ({"feature_share": 1.1}, "feature_share"),
        ({"rpm_column": 3}, "rpm_column"),
        ({"rpm_column": -4}, "rpm_column"),
    ],
)
def test_a_parameter_out_of_range_is_named(parameters, said):
    x, y, _ = curves(np.random.default_rng(8), 2)
    with pytest.raises(ValueError, match=said):
        CurveRegressor(**parameters).fit(x, y)


def test_groups_must_fit_the_readings():
    x, y, group = curves(np.random.default_rng(9), 4)
    with pytest.raises(ValueError, match="inconsistent numbers of samples"):
        CurveRegressor(**QUICK).fit(x, y, groups=group[1:])
    named = np.array([f"shop {g}" for g in group], dtype=object)
    assert CurveRegressor(**QUICK).fit(x, y, groups=named).n_groups_ == 4
    for gap in (None, float("nan")):
        named[5] = gap
        with pytest.raises(ValueError, match="a reading has no group"):
            CurveRegressor(**QUICK).fit(x, y, groups=named)


def test_it_keeps_its_trees_as_sound_text_and_comes_back_from_a_copy():
    x, y, group = curves(np.random.default_rng(10), 12)
    fitted = CurveRegressor(**QUICK).fit(x, y, groups=group)
    tree_text.check(fitted.trees_.text, 3)
    again = clone(fitted).fit(x, y, groups=group)
    assert again.trees_.text == fitted.trees_.text
    back = pickle.loads(pickle.dumps(fitted))  # noqa: S301 - our own, made above
    for one in (again, back):
        np.testing.assert_array_equal(one.predict_interval(x), fitted.predict_interval(x))


def test_it_is_searched_over_like_any_other():
    x, y, group = curves(np.random.default_rng(11), 8)
    table = pd.DataFrame(x, columns=["rpm", "size", "breath"])
    search = GridSearchCV(CurveRegressor(**QUICK), {"leaves": np.array([2, 7])}, cv=GroupKFold(4))
    found = search.fit(table, y, groups=group)
    assert found.best_params_ == {"leaves": 7}
    assert list(found.best_estimator_.feature_names_in_) == ["rpm", "size", "breath"]
    assert found.best_score_ > 0.8
