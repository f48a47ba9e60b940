"""Training: hold out by shop, say what cannot be said, and learn from little."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pullbook.model.learning.curve_model import Blend
from pullbook.model.learning.sample import sample_of, weight_of
from pullbook.model.learning.settings import Settings, from_mapping
from pullbook.model.prediction.predict import predict
from pullbook.model.training import hold_out, train_model
from pullbook.pipeline.features import feature_table

FAST = Settings(rounds=150, folds=5)
#: Where no claim rests on how near the model comes.
COARSE = Settings(rounds=40, folds=3, spread_rounds=10, withheld=1)


def some_shops(demo, count):
    """Return the data of so many shops of middling size."""
    shops = demo.builds["shop"].value_counts().index[20 : 20 + count]
    builds = demo.builds[demo.builds["shop"].isin(shops)].reset_index(drop=True)
    return builds, demo.pulls[demo.pulls["sheet_id"].isin(builds["sheet_id"])]


def trained(builds, pulls, settings=COARSE):
    return train_model.train(builds, pulls, feature_table.fit(builds), settings)


@pytest.mark.parametrize(("count", "kept"), [(4, None), (6, 6 / 7), (9, 0.9), (19, 0.95)])
def test_too_few_shops_for_a_level_are_said_not_invented(demo, count, kept):
    """N shops keep n / (n + 1), the answer says so, and below five there is no number."""
    builds, pulls = some_shops(demo, count)
    model = trained(builds, pulls)
    (found,) = predict(model, demo.builds.iloc[[0]].assign(engine=None), [None])
    answer = found.answer(np.array([3000.0]), 0.95)
    (point,) = answer.curve
    assert answer.regime == "new shop"
    assert np.isfinite(point.torque.value)
    assert answer.calibrated is (kept is not None)
    assert (point.torque.low is None) is (kept is None)
    assert (point.band.high is None) is (kept is None)
    if kept is not None:
        assert answer.level == pytest.approx(kept)
        assert answer.groups == count


def test_folds_never_part_a_shop():
    shops = np.repeat(np.arange(13), np.arange(1, 14))
    fold = hold_out.folds(shops, 5)
    assert len(np.unique(fold)) == 5
    assert all(len(np.unique(fold[shops == s])) == 1 for s in range(13))
    with pytest.raises(ValueError, match="one group"):
        hold_out.folds(np.zeros(4, dtype=int), 5)


@pytest.mark.slow
def test_parting_by_sheet_would_flatter_the_error(demo):
    """The negative control: the same model, sheets parted at random instead of by shop."""
    table = feature_table.make(demo.builds, demo.model.filling)
    sample = sample_of(demo.builds, demo.pulls, table)
    speeds = demo.model.speeds
    rng = np.random.default_rng(0)

    def error(fold):
        curves = hold_out.curves(
            sample, fold, speeds, FAST, Blend(share=1.0), train_model.THREADS, iter
        )
        return np.sqrt(np.mean(hold_out.residuals(sample, curves, speeds) ** 2))

    by_shop = error(hold_out.folds(demo.model.reference.shop, 5))
    by_sheet = error(rng.integers(0, 5, len(sample)))
    assert by_sheet < 0.97 * by_shop


@pytest.mark.slow
def test_the_same_data_and_seed_give_the_same_model(demo):
    builds, pulls = some_shops(demo, 10)
    one, two = trained(builds, pulls), trained(builds, pulls)
    assert one.curve.trees.text == two.curve.trees.text
    assert one.spread.text == two.spread.text
    other = trained(builds, pulls, replace(COARSE, seed=2))
    assert other.curve.trees.text != one.curve.trees.text


def test_builds_without_readings_are_an_error(demo):
    builds, pulls = some_shops(demo, 10)
    with pytest.raises(ValueError, match="same sheets"):
        trained(builds, pulls[pulls["sheet_id"] != builds["sheet_id"].iloc[0]])


def test_a_nominal_correction_counts_for_less(demo):
    table = feature_table.make(demo.builds, demo.model.filling)
    sample = sample_of(demo.builds, demo.pulls, table)
    nominal = (demo.builds["route"] == "nominal").to_numpy() & demo.builds["dyno"].isna().to_numpy()
    exact = (demo.builds[["factor_sd", "doubt_sd"]] == 0).all(axis=1).to_numpy()
    assert (sample.weight[exact] == 1).all()
    assert (sample.weight[nominal] < 0.9).all()


def test_warned_sheets_count_for_less_and_copies_share_one_weight(demo):
    builds = demo.builds.iloc[:3].copy()
    builds["factor_sd"], builds["doubt_sd"], builds["copies"] = 0.0, [0.0, 0.02, 0.0], [1, 1, 2]
    plain, warned, copied = weight_of(builds)
    assert plain == 1
    assert 0.5 < warned < 0.7
    assert copied == 0.5


@pytest.mark.parametrize(
    "given",
    [
        {"rounds": 0},
        {"rounds": "many"},
        {"rounds": 1.5},
        {"learning_rate": float("nan")},
        {"learning_rate": float("inf")},
        {"turns": 5},
        {"folds": True},
        {"folds": 1},
        {"feature_share": 40},
        {"leaves": -1},
    ],
)
def test_settings_that_are_none_are_told(given):
    with pytest.raises(ValueError, match=next(iter(given))):
        from_mapping(given)


def test_features_of_other_builds_are_not_taken(demo, tmp_path):
    feature_table.fit(demo.builds.head(50)).write(tmp_path)
    with pytest.raises(feature_table.NoFeaturesError, match="another data set"):
        feature_table.load(tmp_path, demo.builds)


@pytest.mark.slow
def test_features_read_back_train_the_same_model(demo, tmp_path):
    builds, pulls = some_shops(demo, 10)
    made = feature_table.fit(builds)
    made.write(tmp_path)
    read = feature_table.load(tmp_path, builds)
    pd.testing.assert_frame_equal(read.table, made.table)
    assert train_model.train(builds, pulls, read, COARSE).curve.trees.text == (
        trained(builds, pulls).curve.trees.text
    )
