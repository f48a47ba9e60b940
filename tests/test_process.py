"""The Gaussian process: exact where it rests on all readings, bounded far away, any data."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from pullbook.model.learning import gaussian_process
from pullbook.model.learning.curve_model import HeldOutCurves, choose
from pullbook.model.learning.sample import Sample


def small(sheets=30, seed=0):
    """A small sample of two numbers that matter and one that does not."""
    rng = np.random.default_rng(seed)
    numbers = {"displacement": (300, 40), "overlap": (0, 9), "timing": (33, 2)}
    table = pd.DataFrame({name: rng.normal(*of, sheets) for name, of in numbers.items()})
    sheet = np.repeat(np.arange(sheets), 5)
    rpm = np.tile(np.linspace(2000, 5000, 5), sheets)
    shops = np.array([f"s{i % 6}" for i in range(sheets)])
    level = 0.1 * np.tanh((table["displacement"] - 300) / 40) + 0.004 * table["overlap"]
    bend = -(((rpm - 3500) / 4000) ** 2)
    target = level.to_numpy()[sheet] + bend + rng.normal(0, 0.02, sheets)[sheet]
    weight = rng.choice([1.0, 0.4], sheets)
    return Sample(
        tuple(f"n{i}" for i in range(sheets)), shops, np.arange(sheets), table, sheet, rpm,
        target + rng.normal(0, 0.005, len(rpm)), weight,
    )  # fmt: skip


GAIN = {"displacement": 0.7, "overlap": 0.3}


def dense(sample, fitted, table, speeds):
    """The same process by the textbook: K (K + N)^-1 y (Rasmussen and Williams, 2006, eq. 2.25)."""
    inputs, asked = fitted.inputs(sample.table), fitted.inputs(table)
    a, log = inputs[sample.sheet], np.log(sample.rpm)

    def kernel(x, sx, z, sz):
        straight = x @ z.T
        far = ((x[:, None, :] - z[None, :, :]) ** 2).sum(2) / (
            gaussian_process._LENGTH**2 * x.shape[1]
        )
        along = np.exp(-0.5 * ((sx[:, None] - sz[None, :]) / gaussian_process._SPEED_LENGTH) ** 2)
        both = (1 / (1 + far / 2) + straight / x.shape[1]) * (0.3 + 0.7 * along)
        return gaussian_process._CURVE**2 * both

    own = kernel(a, log, a, log)
    same_sheet = sample.sheet[:, None] == sample.sheet[None, :]
    shop = sample.shops[sample.sheet]
    noise = gaussian_process._READING**2 * np.eye(len(a))
    noise += same_sheet * (0.025**2 / sample.weight)[sample.sheet][:, None]
    noise += gaussian_process._SHOP**2 * (shop[:, None] == shop[None, :])
    mean = sample.target.mean()
    solved = np.linalg.solve(own + noise, sample.target - mean)
    rows = [kernel(asked, np.full(len(asked), np.log(s)), a, log) @ solved for s in speeds]
    return mean + np.column_stack(rows)


def test_it_is_the_textbooks_where_it_rests_on_every_reading():
    sample, other = small(), small(8, seed=5)
    (fitted,) = gaussian_process.fit(sample, GAIN, [0.025], seed=1)
    speeds = np.array([2200.0, 3500.0, 4800.0])
    expected = dense(sample, fitted, other.table, speeds)
    assert fitted.curves(other.table, speeds) == pytest.approx(expected, abs=2e-4)


def test_sheets_at_a_time_make_no_difference(monkeypatch):
    sample = small()
    speeds = np.linspace(2000, 5000, 7)
    whole = gaussian_process.fit(sample, GAIN, [0.025], 1)[0].curves(sample.table, speeds)
    monkeypatch.setattr(gaussian_process, "_SHEETS_AT_ONCE", 7)
    parts = gaussian_process.fit(sample, GAIN, [0.025], 1)[0].curves(sample.table, speeds)
    assert parts == pytest.approx(whole, abs=1e-9)


def test_far_away_it_stays_near_what_was_seen():
    sample = small()
    (fitted,) = gaussian_process.fit(sample, GAIN, [0.025], 1)
    far = pd.DataFrame(
        {"displacement": [3000.0, 1.0], "overlap": [500.0, -500.0], "timing": [0.0, 75.0]}
    )
    curves = fitted.curves(far, np.linspace(500, 20_000, 9))
    assert np.isfinite(curves).all()
    assert np.abs(curves - sample.target.mean()).max() < 1.5


def test_what_is_missing_is_the_mean():
    sample = small()
    (fitted,) = gaussian_process.fit(sample, GAIN, [0.025], 1)
    speeds = np.array([3000.0])
    gone, mean = sample.table.head(1).copy(), sample.table.head(1).copy()
    gone["overlap"], mean["overlap"] = np.nan, sample.table["overlap"].mean()
    assert fitted.curves(gone, speeds) == pytest.approx(fitted.curves(mean, speeds), abs=1e-9)


def test_one_sheet_and_equal_builds_do_not_break_it():
    sample = small(4)
    flat = dataclasses.replace(
        sample, table=sample.table.assign(displacement=300.0, overlap=0.0, timing=1.0)
    )
    for one in (flat, small(1)):
        (fitted,) = gaussian_process.fit(one, GAIN, [0.025], 1)
        assert np.isfinite(fitted.curves(one.table, np.array([3000.0]))).all()


def test_the_blend_is_the_best_on_what_was_held_out():
    sample = small(60)
    speeds = np.linspace(2000, 5000, 21)
    own = [sample.sheet == i for i in range(60)]
    truth = np.vstack([np.interp(speeds, sample.rpm[o], sample.target[o]) for o in own])
    rng = np.random.default_rng(1)
    trees = truth + rng.normal(0, 0.04, (60, 1))
    good, bad = truth + rng.normal(0, 0.02, (60, 1)), truth + rng.normal(0, 0.2, (60, 1))
    blend = choose(sample, speeds, HeldOutCurves(trees, np.stack([bad, good])))
    assert blend.scatter == gaussian_process.SCATTERS[1]
    assert 0.1 < blend.share < 0.35  # 0.02^2 / (0.02^2 + 0.04^2) is 0.2
    assert choose(sample, speeds, HeldOutCurves(truth, np.stack([bad, bad]))).share > 0.9
