"""Thresholds: published check values, exact laws, and a control that must fail."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pullbook.model.limits.conformal import group_scores, needed_groups, thinned


def alone(count):
    of_each = np.arange(count)
    return group_scores(np.arange(1.0, count + 1), of_each, of_each)


@pytest.mark.parametrize(
    ("count", "level", "order"), [(19, 0.95, 19), (100, 0.95, 96), (9, 0.9, 9), (10, 0.9, 10)]
)
def test_equal_shops_give_the_known_order_statistic(count, level, order):
    """ceil((n + 1) level), Vovk, Gammerman and Shafer; values from memory."""
    assert alone(count).threshold(level) == order


@pytest.mark.parametrize(("count", "level"), [(8, 0.9), (18, 0.95), (1, 0.6)])
def test_too_few_shops_give_no_number(count, level):
    assert alone(count).threshold(level) is None
    assert count < needed_groups(level)


@given(st.integers(1, 400), st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99]))
def test_the_needed_groups_are_just_enough(count, level):
    assert (alone(count).threshold(level) is None) == (count < needed_groups(level))


@given(st.lists(st.integers(1, 12), min_size=10, max_size=30), st.integers(0, 10**6))
def test_every_shop_weighs_the_same(sizes, seed):
    """Against a slow, clear version: average over shops the share of values beyond."""
    rng = np.random.default_rng(seed)
    shop = np.repeat(np.arange(len(sizes)), sizes)
    values = rng.normal(size=len(shop))
    limit = group_scores(values, np.arange(len(shop)), shop).threshold(0.8)
    shares = [np.mean(values[shop == s] > limit) for s in range(len(sizes))]
    count = len(sizes)
    assert (np.sum(shares) + 1) / (count + 1) <= 0.2 + 1e-9
    smaller = values[values < limit].max(initial=-np.inf)
    shares = [np.mean(values[shop == s] > smaller) for s in range(count)]
    assert (np.sum(shares) + 1) / (count + 1) > 0.2 - 1e-9


@given(st.integers(5, 500), st.integers(0, 10**6), st.floats(0.05, 0.95))
def test_thinning_never_narrows(count, seed, level):
    values = np.random.default_rng(seed).normal(size=count)
    whole = group_scores(values, np.arange(count), np.arange(count))
    limit, thin = whole.threshold(level), thinned(whole, 20).threshold(level)
    assert (limit is None) == (thin is None)
    assert limit is None or thin >= limit


def simulated(rng, shops, sheets, *, by_shop):
    """Return the coverage of one new shop at 90 %, with thresholds by shop or by row."""
    offset = rng.normal(0, 1, shops + 1)
    values = np.abs(offset[:, None] + rng.normal(0, 0.3, (shops + 1, sheets)))
    known, new = values[:-1].ravel(), values[-1]
    shop = np.repeat(np.arange(shops), sheets) if by_shop else np.arange(len(known))
    return np.mean(new <= group_scores(known, np.arange(len(known)), shop).threshold(0.9))


def test_coverage_on_a_new_shop_is_as_promised():
    """With one sheet a shop the law is exact: Beta(91, 9) for 100 shops at 90 %."""
    rng = np.random.default_rng(7)
    runs = [simulated(rng, 100, 1, by_shop=True) for _ in range(4000)]
    assert stats.binomtest(int(sum(runs)), 4000, 91 / 101).pvalue > 0.001


def test_rows_taken_for_independent_would_break_the_promise():
    """The negative control: few shops with many sheets, weighed by row as if each were alone."""
    rng = np.random.default_rng(8)
    honest = np.mean([simulated(rng, 9, 40, by_shop=True) for _ in range(1500)])
    fooled = np.mean([simulated(rng, 9, 40, by_shop=False) for _ in range(1500)])
    assert honest >= 0.9
    assert fooled < 0.885
