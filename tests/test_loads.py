"""Loads that torque must clear: as people write them, by the propeller law, with their chance."""

import json
from dataclasses import replace

import numpy as np
import pytest
from command_line import run

import pullbook
from pullbook.drawings import prediction_drawing
from pullbook.drawings.chart import LOAD
from pullbook.model.prediction.clearance import chance_above, clearance
from pullbook.model.prediction.over_band import answer_of
from pullbook.pipeline.loads import read_load
from pullbook.pipeline.loads.load_torque import torque_of
from pullbook.pipeline.loads.read_load import LoadError
from pullbook.schemas.on_request import Load
from pullbook.schemas.standing import Standing
from pullbook.text import load_text
from pullbook.words.units import Units

BUILD = {"sheet_id": "launch", "cylinders": 6, "bore": 3.9, "stroke": 3.6, "octane": 91,
         "compression_ratio": 9.4, "intake_duration": 214, "exhaust_duration": 222,
         "lobe_separation": 112, "intake_type": "dual plane", "fuel": "gasoline"}  # fmt: skip
RPM = np.arange(2000.0, 5001.0, 250.0)


@pytest.fixture(scope="module")
def found():
    return pullbook.load().predictions(pullbook.read_builds(BUILD))[0]


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "launch.yaml"
    path.write_text("".join(f"{name}: {value}\n" for name, value in BUILD.items()))
    return path


@pytest.mark.parametrize(
    ("text", "rpm", "torque"),
    [
        ("propeller 150 hp @ 4000", (4000,), (196.954,)),
        ("Propeller 111.855 kW at 4000 rpm", (4000,), (196.954,)),
        ("propeller 200 lb-ft@4000", (4000,), (200,)),
        ("towing 300 N.m from 1800:3200", (1800, 3200), (221.269, 221.269)),
    ],
)
def test_a_load_is_read_as_people_write_it(text, rpm, torque):
    load = read_load.read(text)
    assert load.rpm == rpm
    assert load.torque == pytest.approx(torque, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("propeler 150 hp @ 4000", "Did you mean propeller?"),
        ("propeller 150 @ 4000", "the number has no unit"),
        ("propeller 150 hp", "name one engine speed, such as @ 4000"),
        ("propeller 150 hp @ 2000:4000", "name one engine speed"),
        ("towing 90 hp @ 1800:3200", "a tow is torque"),
        ("towing 220 lb-ft @ 3200:1800", "low:high"),
        ("propeller 150 degC @ 4000", "neither torque nor power"),
        ("propeller 90000 hp @ 4000", "power is '90000 hp'"),
        ("a big one", 'write "propeller 150 hp @ 4000"'),
        ("no-such.csv", "no-such.csv does not exist"),
    ],
)
def test_what_is_no_load_is_answered_with_what_to_write(text, said):
    with pytest.raises(pullbook.InputError, match=r".") as fault:
        read_load.read(text)
    assert said in str(fault.value)


def test_a_propeller_takes_torque_by_the_square_and_power_by_the_cube_of_its_speed():
    load = read_load.read("propeller 160 hp @ 4000")
    rpm = np.array([1000.0, 2000.0, 4000.0])
    assert torque_of(load, rpm) * rpm / 5252.113 == pytest.approx([2.5, 20, 160], rel=1e-6)


@pytest.mark.parametrize(
    "text", ["rpm,power (kW)\n3000,90\n2000,40\n", "rpm;kW\n2000;40\n3000;90\n"]
)
def test_a_table_is_joined_by_lines_of_torque(tmp_path, text):
    path = tmp_path / "pump.csv"
    path.write_text(text)
    load = read_load.read(str(path))
    assert load.torque == pytest.approx([40 / 0.7457 * 2.62606, 90 / 0.7457 * 1.75070], rel=1e-4)
    assert torque_of(load, np.array([2500.0]))[0] == pytest.approx(np.mean(load.torque))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("rpm,torque\n2000,100\n3000,120\n", "names no unit of torque"),
        ("rpm,torque (lb-ft)\n2000,100\n2000,120\n", "row 3: 2000 rpm occurs twice"),
        ("rpm,torque (lb-ft)\n2000,\n3000,120\n", "row 2: torque is empty"),
        ("rpm,lambda\n2000,1\n3000,1\n", "one column rpm and one of torque or power"),
        ("rpm,torque (lb-ft)\n", "headings and two rows or more"),
    ],
)
def test_a_table_that_cannot_be_used_says_where(tmp_path, text, said):
    path = tmp_path / "pump.csv"
    path.write_text(text)
    with pytest.raises(LoadError, match=r".") as fault:
        read_load.read(str(path))
    assert said in str(fault.value)


def test_the_chance_agrees_with_the_limits(found):
    """Where the load lies on a limit of 80 %, an error beyond it on that side is one in ten."""
    points = found.points(RPM, 0.8)
    low, high = (np.array([getattr(p.torque, end) for p in points]) for end in ("low", "high"))
    assert chance_above(found, RPM, low) == pytest.approx(0.9, abs=0.005)
    assert chance_above(found, RPM, high) == pytest.approx(0.1, abs=0.005)
    assert chance_above(found, RPM, found.torque(RPM)) == pytest.approx(0.5)


def test_a_load_is_cleared_where_the_chance_keeps_the_level_at_every_speed(found):
    easy, close = (Load("propeller", (4800.0,), (share * found.torque(np.array([4800.0]))[0],))
                   for share in (0.5, 0.97))  # fmt: skip
    assert clearance(found, easy, RPM, 0.9).cleared is True
    short = clearance(found, close, RPM, 0.9)
    assert short.cleared is False
    assert short.below[-1][1] == short.worst.rpm == 4800.0, "its own speed is looked at"
    assert clearance(found, close, RPM, 0.55).cleared is True
    groups = min(one.groups for one in found.scores("point"))
    assert clearance(found, easy, RPM, 0.999).level == groups / (groups + 1), "what so many keep"
    fast = replace(easy, rpm=(9000.0,))
    assert clearance(found, fast, RPM, 0.9).cleared is None
    assert clearance(found, fast, RPM, 0.9).unknown == [9000.0]


def test_what_is_not_known_is_said(found):
    answer = answer_of(found, RPM, 0.9, loads=[Load("towing", (1000.0, 3000.0), (100.0, 100.0))])
    line, together = load_text.verdict(answer.loads[0], answer)
    assert "at every tested speed" in line
    assert together.startswith("Chance that one pull clears it at every tested speed: ")
    assert "Not tested below 2000 rpm, so not known there." in line
    beyond = replace(answer, standing=Standing.OUTSIDE)
    (line,) = load_text.verdict(beyond.loads[0], beyond)
    assert "outside the data, so no chance is given" in line
    assert load_text.rows(beyond.loads[0], beyond, Units.INCH)[-1][-1] == ""


def test_the_command_says_it_in_words_units_and_at_the_standard(file, tmp_path):
    load = ["predict", file, "--load", "propeller 245 hp @ 4800"]
    page, picture = tmp_path / "page.html", tmp_path / "a.svg"
    said = " ".join(run(*load, "--html", page, "--plot", picture).stdout.split())
    assert "Load: propeller, 245 hp at 4800 rpm" in said
    assert "May not clear it: the chance is below 90 % from" in said
    assert "an engine makes less in thinner or warmer air" in said
    assert "May not clear it" in page.read_text(encoding="utf-8")
    assert ">load<" in picture.read_text(encoding="utf-8")
    metric = run(*load, "--units", "metric").stdout
    assert "propeller, 183 kW at 4800 rpm" in metric
    assert "lb-ft" not in metric
    ours, theirs = (json.loads(run(*load, "--json", *more).stdout)["loads"][0]
                    for more in ([], ["--correction", "SAE J607"]))  # fmt: skip
    assert theirs["load"] == ours["load"], "a load is at the standard of the answer"
    assert theirs["lowest_chance"]["chance"] > ours["lowest_chance"]["chance"]
    assert ours["below_level"][-1][-1] == 4800


def test_from_python_loads_and_the_standard_are_those_of_the_answer():
    predictor = pullbook.load()
    load = "propeller 245 hp @ 4800"
    (plain,), (other,) = (predictor.predict(BUILD, RPM, loads=[load], correction=standard)
                          for standard in ("SAE J1349", "j607"))  # fmt: skip
    assert other.correction == other.as_json()["correction"] == "SAE J607"
    ratio = other.curve[3].torque.value / plain.curve[3].torque.value
    assert ratio == pytest.approx(1.04, abs=0.001)
    assert other.loads[0].load.torque == pytest.approx(plain.loads[0].load.torque)
    assert other.loads[0].worst.chance > plain.loads[0].worst.chance
    with pytest.raises(pullbook.InputError, match="is no standard of correction"):
        predictor.predict(BUILD, correction="J60")


def test_a_load_is_a_dotted_line_with_a_label_in_both_panels(found):
    answer = answer_of(found, RPM, 0.9, loads=[read_load.read("propeller 245 hp @ 4800")])
    chart = prediction_drawing.of_answers([answer], Units.INCH)
    drawn = [curve for panel in chart.panels for curve in panel.curves if curve.style == LOAD]
    assert [curve.label for curve in drawn] == ["load", "load"]
    assert drawn[1].y[-1] == pytest.approx(245, rel=1e-6)
    assert "May not clear it" in chart.alt


PARTS = """\
build: {cylinders: 8, bore: 4.03, stroke: 3.48, octane: 91}
parts:
  camshaft:
    - {name: short, intake_duration: 206, exhaust_duration: 212}
    - {name: long, intake_duration: 236, exhaust_duration: 242}
  intake:
    - {name: two-plane, intake_type: dual plane}
    - {name: one-plane, intake_type: single plane}
goal: {mean_torque: 2000:3500}
"""


def between_the_least(builds):
    """Return a torque at 4800 rpm that only the best of some builds is likely to clear."""
    at = np.array([4800.0])
    found = pullbook.load().predictions([pullbook.read_builds(one)[0] for one in builds])
    low = sorted(one.points(at, 0.8)[0].torque.low for one in found)
    return (low[-1] + low[-2]) / 2


def test_parts_that_may_not_clear_a_load_are_ranked_after_with_the_reason(tmp_path):
    path = tmp_path / "parts.yaml"
    path.write_text(PARTS)
    free = json.loads(run("choose", path, "--json").stdout)
    cams = ((206, 212), (236, 242))
    eight = {"cylinders": 8, "bore": 4.03, "stroke": 3.48, "octane": 91}
    wanted = between_the_least([
        {**eight, "intake_duration": cam[0], "exhaust_duration": cam[1], "intake_type": intake}
        for cam in cams for intake in ("dual plane", "single plane")
    ])  # fmt: skip
    asked = ["choose", path, "--load", f"propeller {wanted:.1f} lb-ft @ 4800"]
    found = json.loads(run(*asked, "--json").stdout)
    ranked, short = found["ranked"], found["not_clearing"]
    assert free["ranked"][0]["parts"] in [one["parts"] for one in short]
    assert ranked
    assert all(one["loads"][0]["cleared"] for one in ranked)
    assert all(one["loads"][0]["below_level"][-1][-1] == 4800 for one in short)
    done = run(*asked, "--html", tmp_path / "page.html")
    said = " ".join(done.stdout.split())
    assert f"Load to clear: propeller, {wanted:.0f} lb-ft at 4800 rpm." in said
    assert "Not sure to clear the load, with a chance of 90 % at every speed" in said
    chance = short[0]["loads"][0]["lowest_chance"]["chance"]
    assert f"{' + '.join(short[0]['parts'].values())}: {100 * chance:.0f} % chance at 4800" in said
    assert all(len(line) < 80 for line in done.stdout.splitlines())
    assert "Not sure to clear the load" in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_a_parts_list_may_hold_its_loads_with_a_table_beside_it(tmp_path):
    (tmp_path / "pump.csv").write_text("rpm,power (hp)\n2500,900\n3000,990\n")
    path = tmp_path / "parts.yaml"
    path.write_text(f"{PARTS}loads:\n  - pump.csv\n")
    found = json.loads(run("choose", path, "--json").stdout)
    assert found["ranked"] == []
    assert found["not_clearing"][0]["loads"][0]["load"]["kind"] == "table"
    said = " ".join(run("choose", path).stdout.split())
    assert "No combination is sure to clear the load; the nearest to it is" in said
    assert "Each one ranked clears the load" not in said
    (tmp_path / "pump.csv").write_text("rpm,power (hp)\n2500,20\n3000,25\n")
    said = " ".join(run("choose", path).stdout.split())
    assert "Each one ranked clears the load, with a chance of 90 % or more at every speed." in said
    path.write_text(f"{PARTS}loads: {{propeller: 3}}\n")
    assert "the section 'loads' must be a list" in run("choose", path).stderr


def test_a_search_recommends_what_clears_the_load(file):
    asked = ["choose", file, "--free", "intake_duration=200:240", "--goal", "2000:4500"]
    plain = json.loads(run(*asked, "--json").stdout)
    wanted = between_the_least([{**BUILD, "intake_duration": d} for d in range(200, 241, 4)])
    load = ["--load", f"propeller {wanted:.1f} lb-ft @ 4800"]
    found = json.loads(run(*asked, *load, "--json").stdout)
    assert found["best"]["loads"][0]["cleared"] is True
    assert all(one["loads"][0]["cleared"] for one in found["alternatives"])
    assert found["not_clearing"]["goal"]["value"] > found["best"]["goal"]["value"]
    duration = [one["best"]["values"]["intake_duration"] for one in (plain, found)]
    assert duration[1] > duration[0], "more duration holds torque at speed"
    said = " ".join(run(*asked, *load).stdout.split())
    assert f"It clears the load (propeller, {wanted:.0f} lb-ft at 4800 rpm): the chance is" in said
    assert "Higher, but not sure to clear the load: intake duration" in said
    none = " ".join(run(*asked, "--load", "propeller 400 hp @ 4800").stdout.split())
    assert "Nothing that was searched is sure to clear the load. Nearest to it:" in none
    assert "What each field is worth" not in none


def test_all_speeds_at_once_are_less_likely_than_the_least_likely_one(found):
    torque = found.torque(RPM)
    clear, close, above = (
        clearance(found, Load("table", tuple(RPM), tuple(share * torque)), RPM, 0.9)
        for share in (0.5, 0.93, 1.1)
    )
    assert clear.worst.chance >= clear.together > 0.95
    assert 0.5 <= close.together < close.worst.chance
    assert above.together is None
    assert close.as_json()["chance_together"] == pytest.approx(close.together, abs=1e-4)
