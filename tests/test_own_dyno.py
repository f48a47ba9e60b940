"""One shop's own dyno, invented: trained from sheets as kept, asked from measured engines."""

import json
import re

import numpy as np
import pytest
import yaml
from command_line import run

import pullbook
from pullbook.model.training import bundle
from pullbook.model.training.start_from import start_from
from pullbook.model.training.train_model import train
from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.demo import sheets, shops
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.fields import BUILD_FIELDS

SIZE = ("cylinders", "bore", "stroke")


@pytest.fixture(scope="module")
def lone(once):
    """A lone shop's 44 sheets of three families, and the model that they give."""

    def make(folder):
        circle = shops.Circle(1, 44, 77, 3, shops.Mix(missing=0.3, nameless=0.0, whole_numbers=0.0))
        sheets.make(folder / "sheets", circle)
        done = run("train", folder / "sheets", "--own", "--out", folder / "mine")
        assert done.returncode == 0, done.stderr
        return folder, done.stderr

    return once("lone", make)


@pytest.fixture(scope="module")
def pile(lone):
    folder, _ = lone
    return [s for s in pullbook.read_sheets(folder / "sheets") if s.accepted]


def series(pile):
    """Return the sheets of the engine that was tested most often."""
    by_engine = {}
    for sheet in pile:
        by_engine.setdefault(sheet.values.get("engine"), []).append(sheet)
    by_engine.pop(None, None)
    return max(by_engine.values(), key=len)


def fields(sheet, **change):
    """Return a build as YAML: all that the sheet gives of parts, with changes."""
    given = {n: v for n, v in sheet.given.items() if n in (*BUILD_FIELDS, "family")}
    return yaml.safe_dump({**given, **change}, sort_keys=False)


def asked(folder, name, text, *words, bundle="mine"):
    path = folder / f"{name}.yaml"
    path.write_text(text, encoding="utf-8")
    done = run("predict", path, "--bundle", folder / bundle, "--json", *words)
    return done, [json.loads(line) for line in done.stdout.splitlines()]


def test_a_pile_of_ones_own_gives_limits_by_engine_at_the_level_they_keep(lone, pile):
    folder, said = lone
    model, manifest = bundle.load(folder / "mine")
    engines = len(np.unique(engines_of(model.fields)))
    assert manifest["private"]
    assert manifest["own_dyno"]
    assert model.regimes["own dyno"].point.groups == engines
    assert "weight of" in said
    done, (answer,) = asked(folder, "new", fields(pile[0]), "--level", "0.99")
    assert done.returncode == 0, done.stderr
    assert answer["regime"] == "own dyno"
    assert answer["groups"] == engines
    assert answer["level"] == pytest.approx(engines / (engines + 1), abs=1e-4)
    assert answer["curve"][4]["torque_low"] < answer["curve"][4]["torque"]


def test_from_a_measured_engine_nothing_changed_gives_the_pull_back(lone, pile):
    """Within what another mounting and the noise of a pull make; the table of the pull is known."""
    folder, _ = lone
    sheet = series(pile)[0]
    done, (answer,) = asked(folder, "same", fields(sheet, measured=sheet.sheet_id))
    assert done.returncode == 0, done.stderr
    assert answer["regime"] == "measured engine"
    assert answer["measured"]["sheet_id"] == sheet.sheet_id
    assert answer["measured"]["changed"] == []
    model, _ = bundle.load(folder / "mine")
    at = model.sheet_ids.index(sheet.sheet_id)
    rows = model.readings.sheet == at
    size = float(model.fields["displacement"].iloc[at])
    curve = [point for point in answer["curve"] if point["supported"]]
    speeds = np.exp(model.readings.speed[rows])
    inside = [p for p in curve if speeds.min() <= p["rpm"] <= speeds.max()]
    measured = np.exp(np.interp([p["rpm"] for p in inside], speeds, model.readings.target[rows]))
    off = np.log(np.array([p["torque"] for p in inside]) / (measured * size))
    assert np.sqrt(np.mean(off**2)) < 0.012


def test_a_build_may_leave_the_size_of_its_engine_to_its_measured_sheet(lone, pile):
    folder, _ = lone
    sheet = series(pile)[0]
    given = {name: sheet.given[name] for name in SIZE if name in sheet.given}
    more = {"intake_duration": sheet.values["intake_duration"] + 12, "measured": sheet.sheet_id}
    _, (whole,) = asked(folder, "whole", yaml.safe_dump({**given, **more}))
    done, (short,) = asked(folder, "short", yaml.safe_dump(more))
    assert done.returncode == 0, done.stderr
    assert short["curve"] == whole["curve"]
    assert set(short["measured"]["taken_over"]) - set(whole["measured"]["taken_over"]) == set(given)
    wide = {**more, "intake_valve": 1.2 * sheet.values["bore"]}
    done, (unfit,) = asked(folder, "unfit", yaml.safe_dump(wide))
    assert done.returncode == 1
    assert "Intake valve over bore is 1.2" in unfit["error"]["message"]
    done, (lost,) = asked(folder, "lost", yaml.safe_dump({**more, "measured": "nowhere"}))
    assert done.returncode == 1
    assert lost["error"]["field"] == "measured"


def test_a_changed_part_moves_the_curve_from_the_pull_and_the_answer_says_so(lone, pile):
    folder, _ = lone
    sheet = series(pile)[0]
    more = {"intake_duration": sheet.values["intake_duration"] + 12}
    given = {name: sheet.given[name] for name in SIZE if name in sheet.given}
    text = yaml.safe_dump({**given, **more, "measured": sheet.sheet_id})
    done, (answer,) = asked(folder, "more", text)
    assert done.returncode == 0, done.stderr
    assert answer["measured"]["changed"] == ["intake_duration"]
    assert "intake_type" in answer["measured"]["taken_over"]
    assert "exhaust_duration" not in answer["measured"]["taken_over"]
    before, after = answer["without_measured"], answer["curve"]
    assert any(a["torque"] != b["torque"] for a, b in zip(before, after, strict=True))
    shown = run("predict", folder / "more.yaml", "--bundle", folder / "mine").stdout
    said = re.sub(r"\s+", " ", shown)
    assert f"Starts from the measured sheet {sheet.sheet_id}" in said
    assert "Changed since: intake duration." in said
    assert "Without the sheet the answer would be" in said


def test_a_pull_that_the_model_has_not_seen_is_started_from_too(lone, pile, tmp_path):
    """Its level carries over: a pull 4 % higher than its build makes the answer higher."""
    folder, _ = lone
    sheet = series(pile)[0]
    (found,) = pullbook.load(folder / "mine").predict(
        {name: sheet.given[name] for name in SIZE if name in sheet.given}
        | {"shop": sheet.values["shop"]}, np.arange(2500.0, 4501, 500))  # fmt: skip
    answers = {}
    for name, times in (("low", 0.97), ("high", 1.03), ("metric", TORQUE_POWER_CONSTANT / 3874)):
        pull = [[f"{p.rpm:.0f}", f"{p.torque.value * times:.1f}"] for p in found.curve]
        rows = "\n".join(",".join(row) for row in [["rpm", "torque"], *pull])
        path = tmp_path / f"{name}.csv"
        given = {n: sheet.given[n] for n in (*SIZE, "shop") if n in sheet.given}
        head = yaml.safe_dump({"sheet_id": name, "correction": "SAE J1349", **given})
        path.write_text(f"---\n{head}---\n{rows}\n", encoding="utf-8")
        (tmp_path / f"{name}.yaml").write_text(
            yaml.safe_dump({**given} | {"measured": f"{name}.csv"}),
            encoding="utf-8",
        )
        done = run("predict", tmp_path / f"{name}.yaml", "--bundle", folder / "mine", "--json")
        assert done.returncode == 0, done.stderr
        answers[name] = json.loads(done.stdout)
    at = [point["torque"] for point in answers["low"]["curve"]][4]
    above = [point["torque"] for point in answers["high"]["curve"]][4]
    assert 1.02 < above / at < 1.07
    assert answers["low"]["measured"]["unlikely"] is None
    assert "more than is likely" in answers["metric"]["measured"]["unlikely"]
    assert "lb-ft taken for N.m" in answers["metric"]["measured"]["unlikely"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"cylinders": 12}, "is of another engine (cylinders"),
        ({"family": "no such family"}, "is of another engine (family"),
        ({"measured": "nowhere"}, "neither among the sheets given with --measured"),
    ],
)
def test_a_sheet_that_cannot_be_started_from_is_one_sentence(lone, pile, tmp_path, change, said):
    folder, _ = lone
    sheet = series(pile)[0]
    kept = tmp_path / "kept.csv"
    given = {name: value for name, value in sheet.given.items() if name != "notes"}
    head = yaml.safe_dump({**given, "sheet_id": "kept"})
    rows = [f"{rpm},{0.9 * sheet.displacement + rpm / 1000:.1f}" for rpm in range(2000, 4501, 500)]
    kept.write_text("\n".join([f"---\n{head}---\nrpm,torque", *rows, ""]), encoding="utf-8")
    text = fields(sheet, **({"measured": "kept"} | change))
    done, (answer,) = asked(folder, "wrong", text, "--measured", kept)
    assert done.returncode == 1
    assert answer["error"]["code"] == "measured-not-usable"
    assert answer["error"]["field"] == "measured"
    assert said in answer["error"]["message"]


def test_two_changes_of_one_engine_are_compared_with_limits_of_their_own(lone, pile, tmp_path):
    folder, _ = lone
    sheet = series(pile)[0]
    paths = []
    for name, more in (("small", 4), ("large", 16)):
        path = tmp_path / f"{name}.yaml"
        change = {"intake_duration": sheet.values["intake_duration"] + more, "sheet_id": name}
        path.write_text(fields(sheet, measured=sheet.sheet_id, **change), encoding="utf-8")
        paths.append(path)
    done = run("compare", *paths, "--bundle", folder / "mine", "--band", "2500:4000", "--json")
    assert done.returncode == 0, done.stderr
    apart = json.loads(done.stdout)
    model, _ = bundle.load(folder / "mine")
    if "one engine" in model.pairs and model.pairs["one engine"].mean.kept(0.9):
        own = json.loads(run("predict", paths[0], "--bundle", folder / "mine", "--json").stdout)
        width = apart["mean_torque"]["high"] - apart["mean_torque"]["low"]
        point = own["curve"][4]
        assert 0 < width < 2 * (point["torque_high"] - point["torque_low"])
    else:
        assert apart["mean_torque"]["low"] is None
    for command in ("vary", "explain"):
        more = ("--field", "lobe_separation=108,112") if command == "vary" else ()
        done = run(command, paths[0], "--bundle", folder / "mine", "--json", *more)
        assert done.returncode == 0, done.stderr


def test_sheets_in_clear_are_no_start_of_what_may_be_passed_on(lone, demo_key, tmp_path):
    folder, _ = lone
    own = run("train", folder / "sheets", "--own", "--out", tmp_path / "b", "--start",
              folder / "mine")  # fmt: skip
    assert own.returncode == 2
    assert "few shops' own sheets" in own.stderr
    shared = tmp_path / "shared"
    assert run("contribute", folder / "sheets", "--into", shared, "--key-file", demo_key).stdout
    assert run("curate", shared, "--out", tmp_path / "data").returncode == 0
    passed = run("train", tmp_path / "data", "--out", tmp_path / "c", "--start", folder / "mine")
    assert passed.returncode == 2
    assert "in clear" in passed.stderr


def test_without_a_start_the_pile_speaks_for_itself(lone, tmp_path):
    folder, _ = lone
    done = run("train", folder / "sheets", "--own", "--out", tmp_path / "alone", "--start", "none")
    assert done.returncode == 0, done.stderr
    model, _ = bundle.load(tmp_path / "alone")
    assert model.curve is None
    started, _ = bundle.load(folder / "mine")
    both = [m.regimes["own dyno"].point for m in (model, started)]
    assert all(one.factor(0.8) > 0 for one in both)


def test_a_start_that_knows_the_pile_already_checks_nothing(demo):
    """A shop of a circle's model trains on its own sheets, started from that very model."""
    code = demo.builds["shop"].value_counts().index[0]
    own = demo.builds[demo.builds["shop"] == code].reset_index(drop=True)
    pulls = demo.pulls[demo.pulls["sheet_id"].isin(own["sheet_id"])]
    start = start_from(demo.model, own.assign(shop="own-x"), pulls)
    assert len(start.learned) == len(own)  # seen by their curves, under another code
    made = feature_table.filled(own, start.filling)
    model = train(own.assign(shop="own-x"), pulls, made, demo.model.settings, start=start)
    assert dict(model.regimes) == {}


def test_a_sheet_of_the_model_is_of_the_same_engine_too(lone, pile):
    folder, _ = lone
    sheet = series(pile)[0]
    text = fields(sheet, measured=sheet.sheet_id, cylinders=12)
    done, (answer,) = asked(folder, "other", text)
    assert done.returncode == 1
    assert "is of another engine (cylinders" in answer["error"]["message"]
