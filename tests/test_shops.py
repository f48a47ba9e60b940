"""How a shop reads: the best predictor of a random effect, against a Gaussian process."""

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, WhiteKernel

from pullbook.model.limits import known_shops


def planted(seed=3, count=40):
    rng = np.random.default_rng(seed)
    size = rng.integers(2, 15, count)
    shop = np.repeat(np.arange(count), size)
    bias = rng.normal(0, 0.02, count)
    return shop, bias, bias[shop] + rng.normal(0, 0.03, len(shop))


def offsets(mean, shop, engine=None):
    """Return the offsets; every sheet is of its own engine unless they are given."""
    engine = np.arange(len(mean)) if engine is None else engine
    spread = known_shops.variances(mean, shop, engine)
    return known_shops.offsets(mean, shop, engine, spread, int(shop.max()) + 1)


def test_the_variances_that_were_planted_are_found():
    every = [planted(seed) for seed in range(60)]
    found = np.array(
        [known_shops.variances(mean, shop, np.arange(len(mean))) for shop, _, mean in every]
    )
    assert np.sqrt(found[:, 0].mean()) == pytest.approx(0.03, rel=0.03)
    assert np.sqrt(found[:, 1].mean()) == pytest.approx(0.02, rel=0.06)


def test_an_offset_is_the_posterior_mean_of_a_constant():
    shop, _, mean = planted()
    within, among = known_shops.variances(mean, shop, np.arange(len(mean)))
    of_shop, _ = offsets(mean, shop)
    own = mean[shop == 4]
    kernel = ConstantKernel(among, "fixed") + WhiteKernel(within, "fixed")
    theirs = GaussianProcessRegressor(kernel, optimizer=None, alpha=0.0)
    theirs.fit(np.zeros((len(own), 1)), own)
    assert of_shop[4] == pytest.approx(theirs.predict(np.zeros((1, 1)))[0], rel=1e-6)


def test_a_sheet_does_not_vouch_for_itself():
    shop, _, mean = planted()
    _, before = offsets(mean, shop)
    changed = mean.copy()
    changed[0] += 1e-6
    _, after = offsets(changed, shop)
    assert abs(after[0] - before[0]) < 1e-8
    assert abs(after[1] - before[1]) > 1e-8


def test_the_other_sheets_of_an_engine_do_not_vouch_for_it():
    shop, _, mean = planted()
    engine = np.arange(len(mean))
    engine[1] = engine[0]  # both of the first shop
    _, before = offsets(mean, shop, engine)
    changed = mean.copy()
    changed[1] += 1e-6
    _, after = offsets(changed, shop, engine)
    assert abs(after[0] - before[0]) < 1e-8
    assert abs(after[2] - before[2]) > 1e-9


def test_an_engine_counts_once_however_often_it_was_tested():
    shop, _, mean = planted()
    again = np.append(np.arange(len(mean)), np.zeros(30, dtype=int))
    of_shop, _ = offsets(mean, shop)
    repeated, _ = offsets(mean[again], shop[again], again)
    assert repeated == pytest.approx(of_shop)


def test_offsets_help_and_shops_that_agree_have_none():
    shop, bias, mean = planted(count=200)
    of_shop, _ = offsets(mean, shop)
    assert np.std(bias - of_shop) < 0.6 * np.std(bias)
    level = np.tile([-0.01, 0.01], 50)
    assert not offsets(level, np.repeat(np.arange(50), 2))[0].any()
