"""Engine geometry and mean pressure, against a handbook and against open data of real engines."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from open_engines import piston_engines

from pullbook.pipeline.physics import engine_quantities
from pullbook.pipeline.physics.constants import CUBIC_INCH, LBFT, TORQUE_POWER_CONSTANT

GTCARS = Path(__file__).parent / "open_data" / "gtcars.csv"


def test_a_handbooks_worked_example():
    """A square 3-litre V6, 205 N.m at 3600 rpm.

    Pulkrabek, Engineering Fundamentals of the Internal Combustion Engine, from memory.
    """
    bore = (0.003 / 6 * 4 / np.pi) ** (1 / 3)
    assert 1000 * bore == pytest.approx(86.0, abs=0.05)
    assert engine_quantities.displacement(bore, bore, 6) == pytest.approx(0.003)
    assert engine_quantities.mean_piston_speed(bore, 3600) == pytest.approx(10.32, abs=0.01)
    assert engine_quantities.brake_power(205, 3600) / 1000 == pytest.approx(77.3, abs=0.05)
    pressure = engine_quantities.brake_mean_effective_pressure(205, 0.003)
    assert pressure / 1000 == pytest.approx(859, abs=0.5)


def test_displacement_is_that_of_real_engines():
    """UCI Automobile: engine size in cubic inches beside bore and stroke."""
    table = piston_engines()
    ours = engine_quantities.displacement(table["bore_in"], table["stroke_in"], table["cylinders"])
    off = (ours / table["engine_size_in3"] - 1).abs()
    # A few rows carry the bore of another engine of the maker: the median and most must agree.
    assert off.median() < 0.01
    assert (off < 0.03).mean() > 0.8


def test_rated_mean_pressure_of_real_engines_is_plausible():
    table = piston_engines()
    torque = table["horsepower"] * TORQUE_POWER_CONSTANT / table["peak_rpm"]
    volume = table["engine_size_in3"] * CUBIC_INCH
    kpa = engine_quantities.brake_mean_effective_pressure(torque * LBFT, volume) / 1000
    natural = kpa[table["turbo"] == 0]
    assert natural.between(450, 1150).mean() > 0.99
    assert kpa[table["turbo"] == 1].median() > natural.median()


def test_peaks_of_real_engines_obey_the_identity():
    """Power is no less at its peak than at the torque peak, nor torque; great_tables' gtcars."""
    cars = pd.read_csv(GTCARS).dropna()
    assert len(cars) > 40
    at_torque_peak = cars["torque_lbft"] * cars["torque_rpm"] / TORQUE_POWER_CONSTANT
    at_power_peak = cars["horsepower"] * TORQUE_POWER_CONSTANT / cars["horsepower_rpm"]
    assert (cars["horsepower"] >= 0.99 * at_torque_peak).all()
    # Ratings are rounded: up to 2.6 % has been seen. One row contradicts itself: 645 hp at 5000
    # rpm is 677 lb-ft, and the row says that the torque peak is 600.
    beyond = cars[at_power_peak > 1.03 * cars["torque_lbft"]]
    assert beyond[["horsepower", "horsepower_rpm", "torque_lbft"]].to_numpy().tolist() == [
        [645, 5000, 600]
    ]
