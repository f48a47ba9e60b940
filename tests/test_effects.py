"""Effects: the process against a slow version and a library; series known by construction."""

import numpy as np
import pytest
from scipy.optimize import check_grad
from sklearn.gaussian_process.kernels import RationalQuadratic

from pullbook.model.learning import effects, learn_effects, part_kernel
from pullbook.model.learning.effects import EFFECTS, LABELS, PARTS, Constants, Readings
from pullbook.pipeline.features import feature_table


@pytest.fixture(scope="module")
def some(demo):
    """Eight invented sheets as readings, two to an engine, with inputs."""
    table = feature_table.make(demo.builds.iloc[:8], demo.model.filling)
    inputs = part_kernel.inputs_of(table)
    rng = np.random.default_rng(0)
    sheet = np.repeat(np.arange(8), 3)
    return inputs, Readings(
        places=inputs.places(table),
        labels=np.column_stack([np.zeros(8), np.arange(8) // 4, np.arange(8) // 2]).astype(int),
        doubt=np.linspace(0, 1e-3, 8),
        sheet=sheet,
        speed=np.log(np.tile([2000.0, 3000.0, 4500.0], 8)),
        start=rng.normal(0, 0.1, 24),
        target=rng.normal(0, 0.1, 24),
    )


def constants(level=0.04):
    variances = np.linspace(1, 2, len(EFFECTS)) * 1e-3
    return Constants(variances, 0.7, (0.1, 0.2), level)


def slow_covariance(inputs, readings, found):
    """Return the covariance of readings, entry by entry, as its docstrings say."""
    like = inputs.likeness(readings.places, readings.places)
    count = len(readings.sheet)
    matrix = np.zeros((count, count))
    for i in range(count):
        for j in range(count):
            a, b = readings.sheet[i], readings.sheet[j]
            away = readings.speed[i] - readings.speed[j]
            near, far = (np.sqrt(3) * abs(away) / length for length in (0.4, 0.8))
            parts = 0.3 + 0.7 * (1 + near) * np.exp(-near)
            labels = 0.6 + 0.4 * (1 + far) * np.exp(-far)
            value = found.level
            for at in range(len(PARTS)):
                value += found.variances[at] * like[at, a, b] * parts
            for at in range(len(LABELS)):
                if readings.labels[a, at] == readings.labels[b, at]:
                    value += found.variances[len(PARTS) + at] * labels
            if a == b:
                value += found.variances[-2] * labels + readings.doubt[a]
            if i == j:
                value += found.variances[-1]
            matrix[i, j] = value
    return matrix


def slow_answer(inputs, readings, known, asked, found):
    """Rasmussen and Williams, 2006, eq. 2.25 and 2.26 (from memory), with a mean."""
    matrix = slow_covariance(inputs, readings, found)
    mean = found.center[1] + found.weight * (readings.start - found.center[0])
    weights = np.linalg.solve(matrix[np.ix_(known, known)], matrix[np.ix_(known, asked)])
    expected = mean[asked] + (readings.target - mean)[known] @ weights
    left = matrix[np.ix_(asked, asked)] - matrix[np.ix_(asked, known)] @ weights
    return expected, left


def test_what_readings_tell_is_what_a_slow_clear_version_says(some):
    inputs, readings = some
    found = constants()
    known, asked = np.arange(5), np.arange(5, 8)
    process = effects.unconditioned(inputs, found).conditioned(readings.part(known))
    posterior = process.posterior(readings.part(asked))
    rows, wanted = np.flatnonzero(readings.sheet < 5), np.flatnonzero(readings.sheet >= 5)
    mean, left = slow_answer(inputs, readings, rows, wanted, found)
    assert posterior.mean == pytest.approx(mean, abs=1e-5)
    assert process.mean(readings.part(asked)) == pytest.approx(mean, abs=1e-5)
    assert process.covariance(posterior, posterior, same=True) == pytest.approx(left, abs=1e-6)
    assert process.variance(posterior) == pytest.approx(np.diag(left), abs=1e-6)


def test_readings_may_come_in_any_order_and_in_parts(some):
    inputs, readings = some
    start = effects.unconditioned(inputs, constants())
    asked = readings.part(np.array([7]))
    at_once = start.conditioned(readings.part(np.array([0, 3, 6])))
    later = start.conditioned(readings.part(np.array([6])))
    later = later.conditioned(readings.part(np.array([0]))).conditioned(
        readings.part(np.array([3]))
    )
    assert later.mean(asked) == pytest.approx(at_once.mean(asked), abs=1e-7)


def test_the_kernel_of_a_group_is_the_rational_quadratic_of_scikit_learn(some):
    inputs, readings = some
    camshaft = list(part_kernel.COLUMNS).index("camshaft")
    places = readings.places[:, inputs.group == camshaft]
    expected = RationalQuadratic(length_scale=1.0, alpha=1.0)(places)
    assert inputs.likeness(readings.places, readings.places)[camshaft] == pytest.approx(expected)


def test_the_gradient_of_the_likelihood_is_its_slope(some):
    inputs, readings = some
    search = learn_effects._Likelihood(inputs, readings, (0.1, 0.2), 0.04)
    at = np.append(np.log(constants().variances), 0.7)
    assert check_grad(lambda x: search(x)[0], lambda x: search(x)[1], at) < 1e-3


def test_constants_that_made_the_data_are_found_again():
    """Engines that differ by 4 % whatever their parts, mountings by 0.5 %: simulated."""
    rng = np.random.default_rng(2)
    names = ("intake_duration",)
    one = np.ones(1)
    inputs = part_kernel.Inputs(names, -one.astype(int), 2 * one.astype(int), one * 0, one)
    engine = np.repeat(np.arange(40), 3)
    sheet = np.repeat(np.arange(120), 2)
    level = rng.normal(0, 0.04, 40)[engine] + rng.normal(0, 0.005, 120)
    readings = Readings(
        places=rng.normal(size=(120, 1)),
        labels=np.column_stack([np.zeros(120), np.zeros(120), engine]).astype(int),
        doubt=np.zeros(120),
        sheet=sheet,
        speed=np.log(np.tile([2500.0, 4000.0], 120)),
        start=np.zeros(240),
        target=level[sheet] + rng.normal(0, 0.003, 240),
    )
    found = learn_effects.learn(inputs, readings, weight=0.0)
    sd = dict(zip(EFFECTS, np.sqrt(found.variances), strict=True))
    assert sd["engine"] == pytest.approx(0.04, rel=0.3)
    assert sd["mounting"] == pytest.approx(0.005, rel=0.5)
    assert sd["camshaft"] < 0.01

    # A pull of an engine sets the next one of it right, within mounting and noise.
    process = effects.unconditioned(inputs, found).conditioned(readings.part(np.arange(117)))
    off = []
    for at in range(117, 120):
        others = np.array([other for other in range(117, 120) if other != at])
        known = process.conditioned(readings.part(others))
        asked = readings.part(np.array([at]))
        off.append(np.abs(known.mean(asked) - asked.target).max())
    assert max(off) < 0.03


def test_a_useless_start_gets_little_weight_and_a_good_one_much():
    rng = np.random.default_rng(3)
    one = np.ones(1)
    inputs = part_kernel.Inputs(("octane",), -one.astype(int), one.astype(int), one * 0, one)
    truth = rng.normal(0, 0.1, 60)

    def weight(start):
        readings = Readings(
            places=rng.normal(size=(60, 1)),
            labels=np.column_stack([np.zeros(60), np.zeros(60), np.arange(60)]).astype(int),
            doubt=np.zeros(60),
            sheet=np.arange(60),
            speed=np.full(60, np.log(3000.0)),
            start=start,
            target=truth + rng.normal(0, 0.01, 60),
        )
        return learn_effects.learn(inputs, readings).weight

    assert weight(truth) > 0.9
    assert weight(rng.normal(0, 0.1, 60)) < 0.3
