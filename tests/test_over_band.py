"""The mean over a band: of the answer's own curve, with the part of it that was tested."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

import pullbook
from pullbook.commands.main import app

BUILD = {"sheet_id": "launch", "cylinders": 8, "bore": 4.03, "stroke": 3.48,
         "compression_ratio": 9.6, "intake_duration": 218, "exhaust_duration": 224,
         "intake_type": "dual plane", "fuel": "gasoline", "octane": 91}  # fmt: skip


def test_it_is_the_mean_of_torque_and_of_power_over_the_band():
    """By the trapezoidal rule of `numpy.trapezoid` over the answer's own points, another route."""
    rpm = np.arange(2500.0, 4501.0, 10.0)
    (found,) = pullbook.load().predict(BUILD, rpm=rpm, band=(2500, 4500))
    for name, mean in (("torque", found.over_band.torque), ("power", found.over_band.power)):
        values = [getattr(point, name).value for point in found.curve]
        assert mean.value == pytest.approx(np.trapezoid(values, rpm) / 2000, rel=0.002)
        assert mean.low < mean.value < mean.high
    narrow = found.over_band.torque
    assert narrow.high / narrow.low < max(p.torque.high / p.torque.low for p in found.curve)
    assert found.over_band.tested == (2500, 4500)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "launch.yaml"
    path.write_text("".join(f"{name}: {value}\n" for name, value in BUILD.items()))
    return str(path)


def test_the_part_that_was_tested_is_said(file):
    beyond = CliRunner().invoke(app, ["predict", file, "--band", "2500:9000"])
    assert "rpm of this was tested" in " ".join(beyond.stdout.split())
    never = CliRunner().invoke(app, ["predict", file, "--band", "8000:9000"])
    assert "none of it was tested" in " ".join(never.stdout.split())


def test_it_is_at_the_standard_and_in_the_units_that_are_asked_for(file):
    words = ["predict", file, "--band", "2500:4500", "--json"]
    ours, theirs = (
        json.loads(CliRunner().invoke(app, [*words, *more]).stdout)["over_band"]
        for more in ([], ["--correction", "SAE J607"])
    )
    assert theirs["power"] / ours["power"] == pytest.approx(1.04, abs=0.002)
    metric = CliRunner().invoke(app, ["predict", file, "--band", "2500:4500", "--units", "metric"])
    assert "Mean from 2500 to 4500 rpm:" in metric.stdout
    assert "hp" not in metric.stdout


def test_without_a_band_there_is_none(file):
    words = ["predict", file, "--json"]
    assert json.loads(CliRunner().invoke(app, words).stdout)["over_band"] is None
