"""Scores of forecasts, against published values and another library."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from sklearn.metrics import mean_pinball_loss

from pullbook.model.evaluation import accuracy, bootstrap, forecast_scores, kinds_of_sheet
from pullbook.model.limits import conformal


def test_the_score_of_a_normal_forecast_is_the_published_one():
    """CRPS(N(0, 1), 0) = 2 phi(0) - 1 / sqrt(pi) (Gneiting and Raftery, 2007, eq. 21)."""
    shares = (np.arange(4000) + 0.5) / 4000
    quantiles = stats.norm.ppf(shares)[:, None]
    found = forecast_scores.crps(quantiles, shares, np.array([0.0]))[0]
    assert found == pytest.approx(0.233694977255109, abs=2e-5)
    assert 2 * stats.norm.pdf(0) - 1 / np.sqrt(np.pi) == pytest.approx(0.233694977255109)


def test_the_score_is_twice_the_mean_pinball_loss():
    rng = np.random.default_rng(0)
    shares, value = (np.arange(9) + 0.5) / 9, rng.normal(size=50)
    quantiles = np.sort(rng.normal(size=(9, 50)), axis=0)
    loss = [
        mean_pinball_loss(value, row, alpha=share)
        for row, share in zip(quantiles, shares, strict=True)
    ]
    assert forecast_scores.crps(quantiles, shares, value).mean() == pytest.approx(2 * np.mean(loss))


def test_the_truth_has_the_best_interval_score():
    value = np.random.default_rng(1).normal(size=200_000)

    def mean(half):
        side = np.full(len(value), half)
        return forecast_scores.interval_score(-side, side, value, 0.9).mean()

    best = stats.norm.ppf(0.95)
    assert mean(best) < min(mean(0.8 * best), mean(1.25 * best))


def test_scores_of_limits_that_hold_are_those_of_their_law():
    """Readings that err by the normal law, and limits that say so."""
    error = np.random.default_rng(2).normal(size=100_000)
    centre = np.zeros(len(error))

    def half(level):
        return np.full(len(error), stats.norm.ppf(0.5 + level / 2))

    found = accuracy.scores(centre, half, error, 0.9)
    assert found["crps"].mean() == pytest.approx(100 / np.sqrt(np.pi), rel=0.02)
    assert np.isnan(accuracy.scores(centre, lambda _: None, error, 0.9)["crps"]).all()


def test_peaks_and_band_of_a_sheet_are_told():
    rpm = np.arange(2000.0, 5001.0, 250.0)
    measured = 300 - 10 * ((rpm - 3200) / 1500) ** 2
    predicted = 1.02 * (300 - 10 * ((rpm - 3400) / 1500) ** 2)
    readings = pd.DataFrame(
        {"sheet_id": "a", "shop": "s", "rpm": rpm, "measured": measured, "predicted": predicted}
    )
    (found,) = accuracy.by_sheet(readings).to_dict(orient="records")
    assert found["torque"] == pytest.approx(2, abs=0.1)
    assert found["torque_rpm"] == pytest.approx(200, abs=30)
    middle = (rpm >= 2750) & (rpm <= 4250)
    mean = 100 * (predicted[middle].mean() / measured[middle].mean() - 1)
    assert found["band"] == pytest.approx(mean, abs=0.05)
    assert np.isnan(found["power_rpm"])  # power still rises at the end of the sweep


def test_limits_of_a_figure_are_those_of_clusters():
    """Fifty sheets of one shop are one shop: against the normal law for means of shops."""
    rng = np.random.default_rng(3)
    shop = np.repeat(np.arange(30), 50)
    values = rng.normal(size=30)[shop]
    _, low, high = bootstrap.limits(values, shop.tolist(), np.mean)
    half = 1.645 * values[::50].std() / np.sqrt(30)
    assert (high - low) / 2 == pytest.approx(half, rel=0.15)


def test_levels_of_scores_are_uniform():
    rng = np.random.default_rng(4)
    shop = np.arange(2000)
    scores = conformal.group_scores(rng.exponential(size=2000), shop, shop)
    level = scores.level(rng.exponential(size=2000))
    assert stats.kstest(level, "uniform").pvalue > 0.01


def test_a_forecast_that_is_too_sure_fills_the_outer_bins():
    rng = np.random.default_rng(5)
    shop = np.repeat(np.arange(40), 50)
    frame = pd.DataFrame({"shop": shop, "sheet_id": np.arange(2000), "pit": 0.0})
    frame["pit"] = stats.norm.cdf(rng.normal(size=2000) * 2)
    sure = kinds_of_sheet.pit(frame)["share"]
    frame["pit"] = rng.random(2000)
    right = kinds_of_sheet.pit(frame)
    assert sure.iloc[0] > 0.18
    assert sure.iloc[4] < 0.08
    assert right["share"].sum() == pytest.approx(1)
    assert ((right["low"] <= 0.1) & (right["high"] >= 0.1)).sum() >= 7
