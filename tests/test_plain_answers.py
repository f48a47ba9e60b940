"""What a builder must be told beside the numbers, and that numbers in one answer agree."""

from __future__ import annotations

import json
import re

import pytest
from command_line import run

BUILD = {"cylinders": 8, "bore": 4.03, "stroke": 3.48, "compression_ratio": 9.6,
         "intake_duration": 218, "exhaust_duration": 224, "airflow": 650}  # fmt: skip
PULL = ((2500, 352), (3000, 361), (3500, 364), (4000, 349), (4500, 330))


def lines(fields):
    return "".join(f"{name}: {value}\n" for name, value in fields.items())


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "build.yaml").write_text(lines(BUILD))
    return tmp_path


def ran(folder, unit="lb-ft", times=1.0):
    rows = "".join(f"{rpm},{torque * times:.0f}\n" for rpm, torque in PULL)
    sheet = folder / "ran.csv"
    front = f"---\nsheet_id: ran\nengine: one\n{lines(BUILD)}correction: SAE J1349\n---\n"
    sheet.write_text(f"{front}rpm,torque ({unit})\n{rows}")
    (folder / "next.yaml").write_text("sheet_id: next\nmeasured: ran.csv\nintake_duration: 230\n")
    return sheet


def flat(*words):
    return " ".join(run(*words).stdout.split())


def test_a_pull_in_another_unit_is_said_before_anything_else(folder):
    ran(folder, times=1.356)
    for words in (["predict"], ["predict", "--html", folder / "a.html"]):
        told = flat(words[0], folder / "next.yaml", *words[1:])
        assert told.startswith("Check first: The measured pull ran makes ")
    page = (folder / "a.html").read_text()
    assert page.index("Check first") < page.index("This build is")
    ran(folder)
    assert flat("predict", folder / "next.yaml").startswith("next: ")


def test_how_far_the_pull_reached_is_said_and_drawn(folder):
    ran(folder)
    told = flat("predict", folder / "next.yaml", "--plot", folder / "a.svg")
    assert "Its pull reaches from 2500 to 4500 rpm; beyond that the answer leans on other" in told
    assert "speeds that its pull reached, 2500 to 4500 rpm" in (folder / "a.svg").read_text()
    within = flat("predict", folder / "next.yaml", "--rpm", "2500:4500:500")
    assert "Its pull reaches" not in within


def test_against_says_where_the_build_stands_and_whether_the_sheet_is_known(folder):
    told = flat("against", ran(folder))
    assert "This build is inside the data. This sheet was not used to train the model." in told


def test_a_field_that_the_build_leaves_out_is_no_change_of_a_part(folder):
    words = ["choose", folder / "build.yaml", "--goal", "power=4800", "--free"]
    told = flat(*words, "intake_flow=180:240")
    assert "Your build does not give intake flow: the gain is over what such an engine" in told
    assert "within what was tested: intake flow 180 to 240 cfm." in told
    assert "Your build does not give" not in flat(*words, "airflow=500:700")


def test_what_a_step_is_worth_is_the_average_over_the_range(folder):
    words = ["choose", folder / "build.yaml", "--goal", "power=4800", "--free", "airflow=450:700"]
    found = json.loads(run(*words, "--json").stdout)
    (worth,) = found["worth"]
    below = worth["gain_per_unit"]["below"]
    assert below["to"] == 450
    ends = [json.loads(run("vary", folder / "build.yaml", "--field", f"airflow=450,{worth['best']}",
                           "--band", "4799:4801", "--json").stdout)["variants"]][0]  # fmt: skip
    low, best = (one["mean_power"]["power"] for one in ends)
    assert below["average"] == pytest.approx((best - low) / (worth["best"] - 450), abs=2e-4)
    said = re.search(r"each 10 cfm from 450 cfm up to it adds ([0-9.]+) hp", flat(*words))
    assert float(said[1]) == pytest.approx(10 * below["average"], abs=0.051)


def test_a_value_in_another_unit_is_that_of_the_build(folder):
    told = run("vary", folder / "build.yaml", "--field", "stroke=86 mm,88.4 mm,92 mm").stdout
    assert re.search(r"^3\.48 in \(yours\)", told, re.MULTILINE)


def test_why_a_value_is_at_the_edge_or_outside_is_said(folder):
    told = flat("vary", folder / "build.yaml", "--field", "compression_ratio=9.6,13,15")
    assert "13:1 is at the edge of the data: compression ratio 13:1 is just above the" in told
    assert "15:1 is outside the data: compression ratio 15:1 is above the tested range" in told


def test_one_engine_speed_has_no_peak(folder):
    told = flat("predict", folder / "build.yaml", "--rpm", "5000")
    assert "Most torque" not in told
    assert "Peak" not in told
    assert " 5000 " in told


def test_limits_of_one_engine_and_of_two_are_told_apart(folder):
    (folder / "other.yaml").write_text(lines({**BUILD, "sheet_id": "other", "airflow": 500}))
    told = flat("compare", folder / "build.yaml", folder / "other.yaml")
    assert "Limits and chances are for separate engines run on the same dyno." in told
    assert "Its limits are for one engine in which that group alone is changed" in told
    sheet = ran(folder)
    told = flat("compare", folder / "other.yaml", sheet)
    assert "Limits and chances are for separate engines, each run on another shop's dyno." in told


def test_the_parts_of_a_difference_are_those_of_json(folder):
    """Each is rounded to the whole lb-ft next to it, on either side."""
    (folder / "other.yaml").write_text(
        lines({**BUILD, "sheet_id": "other", "airflow": 500, "intake_duration": 236, "octane": 89})
    )
    words = ["compare", folder / "build.yaml", folder / "other.yaml"]
    found = json.loads(run(*words, "--json").stdout)["shares"]
    told = flat(*words)
    for name, one in found["parts"].items():
        said = re.search(rf" {name} ([+-]?[0-9.]+) lb-ft", told)
        assert abs(float(said[1]) - one["share"]) < 1
