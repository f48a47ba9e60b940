"""Filling: the conditional mean of a normal, against the formula worked another way."""

import numpy as np
import pytest

from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.features import engineered_features, fill_missing
from pullbook.pipeline.features.fill_missing import FILLED
from pullbook.pipeline.values.sheet import Build


@pytest.fixture(scope="module")
def fields():
    """Engines whose exhaust valve is 0.8 of the intake valve, give or take 2 %."""
    rng = np.random.default_rng(5)
    sheets = []
    for i in range(300):
        valve = float(rng.uniform(1.5, 2.2))
        values = {
            "cylinders": 8,
            "bore": valve / 0.5,
            "stroke": 3.5,
            "intake_valve": valve,
            "exhaust_valve": 0.8 * valve * float(np.exp(rng.normal(0, 0.02))),
            "exhaust_type": "cast manifold" if i % 2 else "long-tube header",
            "primary_diameter": None if i % 2 else 1.7,
        }
        sheets.append(Build(sheet_id=str(i), source="", values=values))
    return engineered_features.numbers(typed_builds(sheets))


def test_a_hidden_value_is_found_from_what_goes_with_it(fields):
    holed = {name: column.copy() for name, column in fields.items()}
    hidden = np.arange(0, 300, 3)
    holed["exhaust_valve"][hidden] = np.nan
    filled = fill_missing.fit(holed).fill(holed)["exhaust_valve"][hidden]
    off = np.log(filled / fields["exhaust_valve"][hidden])
    assert np.sqrt(np.mean(off**2)) < 0.03  # the scatter itself is 0.02
    assert np.std(np.log(fields["exhaust_valve"])) > 0.08  # and the mean would be this far off


def test_what_was_given_is_kept(fields):
    filled = fill_missing.fit(fields).fill(fields)
    for name in FILLED:
        given = ~np.isnan(fields[name])
        assert np.array_equal(filled[name][given], fields[name][given])


def test_a_cast_manifold_has_no_primaries(fields):
    filled = fill_missing.fit(fields).fill(fields)
    cast = fields["exhaust_type"] == 0
    assert np.isnan(filled["primary_diameter"][cast]).all()


def test_one_build_gets_the_conditional_mean_and_spread():
    """Against the regression formula: the inverse of the covariance tells both at once."""
    rng = np.random.default_rng(2)
    root = rng.normal(size=(4, 4))
    covariance = root @ root.T + np.eye(4)
    z = np.array([[0.7, np.nan, -1.1, np.nan]])
    whole, spread = fill_missing._conditional(z, covariance)
    precision = np.linalg.inv(covariance)
    gap, given = [1, 3], [0, 2]
    block = precision[np.ix_(gap, gap)]
    mean = -np.linalg.solve(block, precision[np.ix_(gap, given)] @ z[0, given])
    assert whole[0, gap] == pytest.approx(mean)
    assert spread[np.ix_(gap, gap)] == pytest.approx(np.linalg.inv(block))


def test_plausible_values_straddle_the_filled_one(fields):
    fitted = fill_missing.fit(fields)
    one = {name: column[:1].copy() for name, column in fields.items()}
    one["exhaust_valve"][:] = np.nan
    low, middle, high = fitted.plausible(one)["exhaust_valve"]
    assert low < middle < high
    assert fitted.fill(one)["exhaust_valve"][0] == pytest.approx(middle)
