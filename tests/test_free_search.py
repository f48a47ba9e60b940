"""Free search: the best of what was tested, with what goes along moving too."""

import json
import re

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

import pullbook
from pullbook.commands.main import app
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.builds.field_ranges import FieldRangesError
from pullbook.pipeline.builds.free_fields import MOST, Followers, FreeFieldsError, free_fields
from pullbook.pipeline.builds.parts import Goal, PartsListError, goal_of
from pullbook.pipeline.builds.read_builds import builds_of
from pullbook.pipeline.builds.same_parts import SamePartsError
from pullbook.schemas.standing import Standing

BUILD = {
    "sheet_id": "river six", "family": "petrel-six", "cylinders": 6, "arrangement": "inline",
    "bore": 3.9, "stroke": 3.6, "compression_ratio": 9.4, "intake_duration": 214,
    "exhaust_duration": 222, "lobe_separation": 112, "intake_lift": 0.44, "exhaust_lift": 0.45,
    "intake_type": "dual plane", "airflow": 500, "exhaust_type": "cast manifold",
    "fuel": "gasoline", "octane": 91,
}  # fmt: skip


@pytest.fixture(scope="module")
def predictor():
    return pullbook.load()


@pytest.fixture
def base():
    (build,) = builds_of(BUILD)
    return build


@pytest.mark.parametrize("of", ["mean_torque", "least_torque"])
def test_it_finds_what_a_sweep_over_the_whole_range_finds(predictor, base, of):
    """One field is small enough to be asked at every step."""
    goal = Goal(of, (2000, 4500))
    found = predictor.search(base, ["intake_duration=200:240"], goal)
    moved = Followers([found.worth[0].free], predictor.model.fields)
    builds = [
        build_files.changed(base, str(d), {"intake_duration": float(d),
                                           **moved.moved(base.values, {"intake_duration": d})})
        for d in range(200, 241)
    ]  # fmt: skip
    made = predictor.predictions(builds)
    rpm = np.linspace(2000, 4500, 41)
    functional = np.mean if of == "mean_torque" else np.min
    highest = max(
        functional(one.torque(rpm)) for one in made if one.standing is not Standing.OUTSIDE
    )
    assert found.best.reached.value.value == pytest.approx(highest, rel=1e-6)


def test_more_freedom_is_never_worse_and_the_best_is_never_outside(predictor, base):
    goal = Goal("power", (5000, 5000))
    few = predictor.search(base, ["camshaft"], goal)
    many = predictor.search(base, ["camshaft", "airflow", "exhaust"], goal)
    assert few.base.reached.value.value <= few.best.reached.value.value
    assert few.best.reached.value.value <= many.best.reached.value.value * 1.001
    for found in (few, many):
        assert found.best.found.standing is not Standing.OUTSIDE
        assert all(one.found.standing is not Standing.OUTSIDE for one in found.alternatives)
        values = [one.reached.value.value for one in (found.best, *found.alternatives)]
        assert values == sorted(values, reverse=True)
        assert all(one.less.low <= 0 for one in found.alternatives)


def test_another_goal_takes_another_cam(predictor, base):
    """Power at the top takes more duration than torque low down does."""
    low = predictor.search(base, ["camshaft"], Goal("mean_torque", (2000, 3000)))
    high = predictor.search(base, ["camshaft"], Goal("power", (5200, 5200)))
    assert low.best.values["intake_duration"] + 10 < high.best.values["intake_duration"]


def test_the_same_question_has_the_same_answer(predictor, base):
    ask = ["camshaft", "intake"]
    first, again = (predictor.search(base, ask, goal_of("2000:4500")).as_json() for _ in range(2))
    assert first == again


def test_parts_move_along_as_in_the_tested_builds():
    """Exhaust duration rises 0.5 a degree here and lift 0.01; a plenum brings its own runner."""
    duration = np.arange(200.0, 240.0, 2)
    tested = pd.DataFrame(
        {
            "intake_duration": duration,
            "exhaust_duration": 110 + 0.5 * duration,
            "intake_lift": 0.01 * duration - 1.6,
            "intake_type": ["dual plane", "long runner"] * 10,
            "runner_length": [6.0, 14.0] * 10,
        }
    )
    free = free_fields(["intake_duration", "intake_type"], tested)
    base = {"intake_duration": 210.0, "exhaust_duration": 220.0, "intake_lift": 0.5,
            "intake_type": "dual plane", "runner_length": 5.0}  # fmt: skip
    moved = Followers(free, tested).moved(
        base, {"intake_duration": 220.0, "intake_type": "long runner"}
    )
    assert moved == {"exhaust_duration": 225.0, "intake_lift": 0.6, "runner_length": 14.0}
    same = Followers(free, tested).moved(base, {"intake_type": "dual plane"})
    assert same == {}
    bare = {"intake_duration": 210.0}  # what the build does not give stays unknown
    assert Followers(free, tested).moved(bare, {"intake_duration": 220.0}) == {}


@pytest.mark.parametrize(
    ("free", "said"),
    [
        (["camshift"], "camshaft"),
        (["boost"], "cannot be searched"),
        (["intake_type=triple plane"], "dual plane"),
        (["intake_duration=240:200"], "low:high. Intake duration is a number from 120 to 340"),
        (["intake_valve=48:52"], "0.5 to 4 in. To give it in mm, write the unit behind"),
        (["intake_valve=48mm"], "low:high"),
        (["camshaft=200:240"], "group of parts"),
        (["sheet_id"], "neither a group"),
        (["camshaft", "heads", "intake"], f"{MOST} is the most"),
        ([], f"{MOST} is the most"),
    ],
)
def test_what_cannot_be_free_is_said(predictor, base, free, said):
    with pytest.raises((FreeFieldsError, SamePartsError, FieldRangesError), match=said):
        predictor.search(base, free, goal_of("2000:4500"))


def test_a_range_may_name_its_unit():
    (free,) = free_fields(["intake_valve=48:52 mm"], pd.DataFrame({"intake_valve": [1.9]}))
    assert (free.low, free.high) == (pytest.approx(48 / 25.4), pytest.approx(52 / 25.4))


@pytest.mark.parametrize("text", ["torque", "speed=3000", "torque=fast", "4500:2000", "power="])
def test_what_is_no_goal_is_said(text):
    with pytest.raises(PartsListError, match="goal"):
        goal_of(text)


def test_speeds_that_nobody_tested_are_refused(predictor, base):
    with pytest.raises(FreeFieldsError, match="tested at the speeds"):
        predictor.search(base, ["camshaft"], goal_of("9000:9500"))


def _run(words):
    return CliRunner().invoke(app, words)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "river.yaml"
    path.write_text("".join(f"{name}: {value}\n" for name, value in BUILD.items()))
    return path


def test_the_command_says_the_best_what_is_as_good_and_what_each_is_worth(file, tmp_path):
    picture, page = tmp_path / "s.svg", tmp_path / "s.html"
    found = _run(
        ["choose", str(file), "--free", "camshaft", "--goal", "2000:4500",
         "--plot", str(picture), "--html", str(page)]
    )  # fmt: skip
    assert found.exit_code == 0
    for words in ("Best: intake duration", "Against your build as it is", "or 1",
                  "each degree from", "SAE J1349", "does not clear an engine"):  # fmt: skip
        assert words in found.stdout
    assert max(map(len, found.stdout.splitlines())) <= 80
    assert "the best found" in picture.read_text()
    assert "What each field is worth" in page.read_text()


def test_the_command_in_metric_is_metric(file):
    found = _run(["choose", str(file), "--free", "bore", "--goal", "power=5000",
                         "--units", "metric"])  # fmt: skip
    assert " kW" in found.stdout
    assert "each mm from" in found.stdout
    assert " hp" not in found.stdout
    assert not re.search(r"\d in\b|lb-ft|cfm", found.stdout)


def test_the_command_as_json(file):
    found = _run(["choose", str(file), "--free", "lobe_separation=106:114", "--goal",
                         "torque=3000", "--json"])  # fmt: skip
    answer = json.loads(found.stdout)
    assert answer["goal"] == {
        "of": "torque",
        "rpm": [3000, 3000],
        "asked_rpm": [3000, 3000],
        "unit": "lb-ft",
    }
    assert 106 <= answer["best"]["values"]["lobe_separation"] <= 114
    assert answer["searched"]["lobe_separation"] == [106, 114]


@pytest.mark.parametrize("given", [["--free", "camshaft"], ["--goal", "2000:4500"]])
def test_a_search_needs_both(file, given):
    found = _run(["choose", str(file), *given])
    assert found.exit_code == 2
    assert "a search needs both" in found.stderr.replace("\n", " ").replace("│", " ")
