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


def test_the_variances_that_were_planted_are_found():
    found = np.array([known_shops.variances(planted(s)[2], planted(s)[0]) for s in range(60)])
    assert np.sqrt(found[:, 0].mean()) == pytest.approx(0.03, rel=0.03)
    assert np.sqrt(found[:, 1].mean()) == pytest.approx(0.02, rel=0.06)


def test_an_offset_is_the_posterior_mean_of_a_constant():
    shop, _, mean = planted()
    within, among = known_shops.variances(mean, shop)
    of_shop, _ = known_shops.offsets(mean, shop)
    own = mean[shop == 4]
    kernel = ConstantKernel(among, "fixed") + WhiteKernel(within, "fixed")
    theirs = GaussianProcessRegressor(kernel, optimizer=None, alpha=0.0)
    theirs.fit(np.zeros((len(own), 1)), own)
    assert of_shop[4] == pytest.approx(theirs.predict(np.zeros((1, 1)))[0], rel=1e-6)


def test_a_sheet_does_not_vouch_for_itself():
    shop, _, mean = planted()
    _, before = known_shops.offsets(mean, shop)
    changed = mean.copy()
    changed[0] += 1e-6
    _, after = known_shops.offsets(changed, shop)
    assert abs(after[0] - before[0]) < 1e-8
    assert abs(after[1] - before[1]) > 1e-8


def test_offsets_help_and_shops_that_agree_have_none():
    shop, bias, mean = planted(count=200)
    of_shop, _ = known_shops.offsets(mean, shop)
    assert np.std(bias - of_shop) < 0.6 * np.std(bias)
    level = np.tile([-0.01, 0.01], 50)
    assert not known_shops.offsets(level, np.repeat(np.arange(50), 2))[0].any()
