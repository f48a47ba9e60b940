"""Thresholds: published check values, exact laws, and a control that must fail."""

import numpy as np
import pytest
from hypothesis import given, settings
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


def held(values, shop, share):
    """Return what thresholds at a share of the others hold of each shop, on average."""
    found = []
    for own in np.unique(shop):
        others = np.sort(values[shop != own])
        weight = np.array([1 / np.sum(shop == shop[values == one][0]) for one in others])
        reached = np.cumsum(weight) / np.sum(weight)
        inside = [np.mean(values[shop == own] < one) for one in others]
        found.append(np.interp(share, reached, inside))
    return np.mean(found)


@pytest.mark.slow
@settings(deadline=None, max_examples=40)
@given(st.lists(st.integers(1, 12), min_size=6, max_size=15), st.integers(0, 10**6))
def test_every_shop_weighs_the_same(sizes, seed):
    """Against a slow, clear version: the theorem's share of each score, or what is held if more."""
    rng = np.random.default_rng(seed)
    count = len(sizes)
    shop = np.repeat(np.arange(count), sizes)
    values = rng.normal(size=len(shop))
    limit = group_scores(values, np.arange(len(shop)), shop).threshold(0.8)

    def promised(most):
        below = np.mean([np.mean(values[shop == s] <= most) for s in range(count)])
        return max(below * count / (count + 1), held(values, shop, below))

    enough = [most for most in np.sort(values) if promised(most) >= 0.8 - 1e-9]
    assert limit == enough[0]


@pytest.mark.parametrize(("groups", "scores", "share"), [(6, 1, 0), (6, 12, 0.5), (20, 3, 0.9)])
def test_levels_hold_on_average_whatever_the_scores_of_a_group_share(groups, scores, share):
    """Seeded, 400 data sets each: the mean coverage is the level that so many groups keep."""
    rng = np.random.default_rng(3)
    covered = []
    for _ in range(400):
        common = np.sqrt(share) * rng.normal(size=(groups + 40, 1))
        values = np.abs(common + np.sqrt(1 - share) * rng.normal(size=(groups + 40, scores)))
        known, of = values[:groups].ravel(), np.repeat(np.arange(groups), scores)
        found = group_scores(known, of, np.arange(groups))
        covered.append(np.mean(values[groups:] <= found.factor(0.9)))
    level = found.kept(0.9)
    error = np.std(covered) / 20
    assert level - 3 * error <= np.mean(covered) <= level + 0.05


def test_below_five_groups_there_are_no_limits_and_few_keep_a_lower_level():
    assert alone(4).kept(0.9) is None
    assert alone(4).factor(0.5) is None
    assert alone(6).kept(0.9) == pytest.approx(6 / 7)
    assert alone(6).factor(0.9) == 6
    assert alone(20).kept(0.9) == 0.9


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


@pytest.mark.slow
def test_rows_taken_for_independent_would_break_the_promise():
    """The negative control: few shops with many sheets, weighed by row as if each were alone."""
    rng = np.random.default_rng(8)
    honest = np.mean([simulated(rng, 9, 40, by_shop=True) for _ in range(1500)])
    fooled = np.mean([simulated(rng, 9, 40, by_shop=False) for _ in range(1500)])
    assert honest >= 0.9
    assert fooled < 0.885
