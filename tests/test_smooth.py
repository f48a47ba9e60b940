"""Smoothing and reading curves, against SciPy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicHermiteSpline

from pullbook.model.learning import smooth_curves

GRID = smooth_curves.grid(1500, 6500)


def test_smoothing_takes_stairs_away_and_leaves_the_curve():
    curve = 1.1 - ((GRID - 3800) / 5000) ** 2
    stairs = np.round(curve, 2)
    smoothed = smooth_curves.smooth(stairs[None, :])[0]
    assert np.abs(smoothed - curve).max() < 0.01

    def rough(values):
        return np.abs(np.diff(values, 2)).sum()

    assert rough(smoothed) < rough(stairs) / 4


def test_values_between_points_are_those_of_scipys_spline():
    """A cubic Hermite spline with central slopes, inside the first and last interval."""
    values = np.sin(GRID / 900)
    step = GRID[1] - GRID[0]
    theirs = CubicHermiteSpline(GRID, values, np.gradient(values, step))
    rpm = np.linspace(GRID[1], GRID[-2], 333)
    ours = smooth_curves.at(values[None, :], GRID, np.zeros(333, dtype=int), rpm)
    assert ours == pytest.approx(theirs(rpm), abs=1e-12)


def test_beyond_the_grid_the_last_value_stands():
    values = np.arange(len(GRID), dtype=float)
    same = np.zeros(2, dtype=int)
    found = smooth_curves.at(values[None, :], GRID, same, np.array([0.0, 99999.0]))
    assert found == pytest.approx([0.0, len(GRID) - 1])


@given(st.floats(2200, 5800), st.floats(1e-8, 1e-6))
def test_the_peak_of_a_parabola_is_found_between_points(where, bend):
    height, rpm, at_end = smooth_curves.peak(GRID, 400 - bend * (GRID - where) ** 2)
    assert not at_end
    assert rpm == pytest.approx(where, rel=1e-3)
    assert height == pytest.approx(400, rel=1e-6)


def test_a_curve_that_still_rises_has_its_peak_at_the_end():
    assert smooth_curves.peak(GRID, GRID) == (6500.0, 6500.0, True)
