"""The mean over a band: of the answer's own curve, with the part of it that was tested."""

import json
from pathlib import Path

import numpy as np
import pytest
from command_line import run
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
    assert "rpm, the tested part of 2500 to 9000: " in " ".join(beyond.stdout.split())
    told = CliRunner().invoke(app, ["predict", file, "--band", "2500:9000", "--json"]).stdout
    means = json.loads(told)["over_band"]
    assert means["asked_band"] == [2500, 9000]
    within = CliRunner().invoke(
        app, ["predict", file, "--band", "{:.0f}:{:.0f}".format(*means["band"]), "--json"]
    )
    assert json.loads(within.stdout)["over_band"]["torque"] == means["torque"]
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


def test_two_builds_are_compared_in_power_too_and_the_tested_part_is_said(file, tmp_path):
    other = tmp_path / "other.yaml"
    other.write_text(Path(file).read_text().replace("218", "206").replace("launch", "tender"))
    found = json.loads(run("compare", file, other, "--band", "2500:4500", "--json").stdout)
    alone = [json.loads(run("predict", one, "--band", "2500:4500", "--json").stdout)["over_band"]
             for one in (file, other)]  # fmt: skip
    power = found["mean_power"]
    assert [power["a"], power["b"]] == pytest.approx([one["power"] for one in alone], abs=0.02)
    assert power["difference"] == pytest.approx(power["a"] - power["b"], abs=0.02)
    # Limits come from the same errors, each speed's by its power for each lb-ft.
    width, turns = power["high"] - power["low"], np.array([2500, 4500]) / 5252.113
    torque = found["mean_torque"]["high"] - found["mean_torque"]["low"]
    assert torque * turns[0] < width < torque * turns[1]
    assert found["tested"] == [2500, 4500]
    beyond = " ".join(run("compare", file, other, "--band", "2500:9000").stdout.split())
    assert "rpm, the tested part of 2500 to 9000: A" in beyond


def test_a_varied_build_has_power_too_and_its_tables_fit_a_terminal(file, tmp_path):
    page = tmp_path / "page.html"
    asked = ["vary", file, "--field", "intake_duration=206:226:4"]
    done = run(*asked, "--html", page)
    assert max(map(len, done.stdout.splitlines())) < 80
    assert "218 deg (yours)" in done.stdout
    assert "<th" in page.read_text(encoding="utf-8")
    assert "mean hp" in page.read_text(encoding="utf-8")
    first = json.loads(run(*asked, "--json").stdout)["variants"][0]
    assert first["mean_power"]["low"] < first["mean_power"]["power"] < first["mean_power"]["high"]
    apart = first["against_base"]["mean_power"]
    assert apart["a"] - apart["b"] == pytest.approx(apart["difference"], abs=0.02)
    assert first["mean_power"]["power"] == apart["a"]
    metric = run(*asked, "--units", "metric")
    assert max(map(len, metric.stdout.splitlines())) < 80
    assert "kW" in metric.stdout
    beyond = run("vary", file, "--field", "bore=4,4.05", "--band", "3000:7500").stdout
    assert "rpm, the tested part of 3000 to 7500 Torque" in " ".join(beyond.split())
    assert "not tested" not in beyond
