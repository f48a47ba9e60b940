"""What money buys, a budget, and what a build should not exceed."""

import json
from itertools import pairwise
from types import SimpleNamespace

import pytest
from command_line import run

from pullbook.pipeline.loads import ceilings
from pullbook.text import choice_text

PARTS = """\
build: {cylinders: 8, bore: 4.03, stroke: 3.48, octane: 91}
parts:
  heads:
    - {name: as cast, compression_ratio: 9.2, intake_flow: 205, price: 0}
    - {name: ported, compression_ratio: 9.6, intake_flow: 235, price: 900}
  camshaft:
    - {name: short, intake_duration: 206, exhaust_duration: 212, price: 180}
    - {name: long, intake_duration: 236, exhaust_duration: 242, price: 210}
goal: {power: 5000}
"""


@pytest.fixture
def parts(tmp_path):
    path = tmp_path / "parts.yaml"
    path.write_text(PARTS)
    return path


def test_money_buys_what_nothing_cheaper_betters(parts):
    """Found again by holding every combination against every other."""
    found = json.loads(run("choose", parts, "--json").stdout)
    every = {tuple(one["parts"].values()): (one["price"], one["goal"]["value"])
             for one in found["ranked"]}  # fmt: skip
    unbeaten = {name for name, (price, goal) in every.items()
                if not any(p <= price and g > goal for p, g in every.values())}  # fmt: skip
    steps = found["money"]
    assert {tuple(one["parts"].values()) for one in steps} == unbeaten
    assert len(steps) > 1
    for before, one in pairwise(steps):
        here, there = (every[tuple(each["parts"].values())] for each in (one, before))
        assert one["gain"]["value"] == pytest.approx(here[1] - there[1], abs=0.02)
        each = (here[1] - there[1]) / (here[0] - there[0])
        assert one["gain_per_unit"] == pytest.approx(each, abs=1e-4)
        assert 0.5 <= one["chance_of_gain"] <= 1
        assert one["gain"]["low"] < one["gain"]["value"] < one["gain"]["high"]


def test_the_command_says_what_money_buys(parts, tmp_path):
    page = tmp_path / "page.html"
    done = run("choose", parts, "--html", page, "--correction", "J607")
    said = " ".join(done.stdout.split())
    assert "What more money buys (each is predicted above everything cheaper): - 180:" in said
    steps = json.loads(run("choose", parts, "--json").stdout)["money"][1:]
    assert ("for each 100" in said) == any(one["chance_of_gain"] >= 0.75 for one in steps)
    assert "no clear gain (" in said
    assert "What more money buys" in page.read_text(encoding="utf-8")
    assert all(len(line) < 80 for line in done.stdout.splitlines())


def test_a_budget_leaves_out_what_costs_more(parts):
    found = json.loads(run("choose", parts, "--budget", "300", "--json").stdout)
    assert {one["price"] for one in found["ranked"]} == {180, 210}
    assert found["ruled_out"] == {"price": 2}
    assert "price at most 300" in " ".join(run("choose", parts, "--budget", "300").stdout.split())
    parts.write_text(f"{PARTS}limits:\n  price: {{at_most: 200}}\n")
    tighter = json.loads(run("choose", parts, "--budget", "300", "--json").stdout)
    assert {one["price"] for one in tighter["ranked"]} == {180}
    parts.write_text(PARTS.replace(", price: 900", ""))
    assert "heads 'ported' has none" in run("choose", parts, "--budget", "300").stderr


def test_a_search_has_no_budget(parts):
    done = run("choose", parts, "--free", "camshaft", "--goal", "2000:4500", "--budget", "300")
    assert done.returncode == 2
    assert "a search has no prices" in " ".join(done.stderr.replace("│", " ").split())


def test_what_a_build_exceeds_is_said(parts, tmp_path):
    build = tmp_path / "a.yaml"
    build.write_text("cylinders: 8\nbore: 4.03\nstroke: 3.48\ncompression_ratio: 12\noctane: 93\n")
    most = ["--caution", "octane=87", "--caution", "peak_speed=3000 rpm",
            "--caution", "piston_speed=2000 ft/min"]  # fmt: skip
    found = json.loads(run("predict", build, *most, "--json").stdout)["cautions"]
    told = {one["of"]: (one["value"], one["most"]) for one in found}
    assert told["octane"] == (93, 87)
    assert told["compression_ratio"] == (12, 11.25)
    rpm = told["peak_speed"][0]
    # A mean piston speed is two strokes a turn, whatever the units.
    assert told["piston_speed"][0] == pytest.approx(2 * 3.48 * 0.0254 * rpm / 60, abs=0.01)
    said = " ".join(run("predict", build, *most).stdout.split())
    assert "Caution: the build asks for 93 octane, and 87 is what you have." in said
    assert "compression ratio 12:1 is high for the octane you have; up to 11.2:1 is usual" in said
    assert "and 3000 rpm is your limit." in said
    assert "ft/min" in said
    assert "m/s" in run("predict", build, *most, "--units", "metric").stdout
    assert "Caution:" not in run("predict", build).stdout
    chosen = " ".join(run("choose", parts, *most[:2]).stdout.split())
    assert "Caution, " in chosen
    assert "the build asks for 91 octane, and 87 is what you have." in chosen
    search = ["choose", build, "--free", "bore", "--goal", "2500:4000", *most[:2]]
    assert "asks for 93 octane" in " ".join(run(*search).stdout.split())


def test_a_caution_is_about_the_speed_that_the_answer_names(tmp_path):
    build = tmp_path / "a.yaml"
    build.write_text("cylinders: 8\nbore: 4.03\nstroke: 3.48\ncompression_ratio: 9.6\n")
    most = ["--caution", "peak_speed=3000 rpm", "--json"]
    for asked in ([], ["--rpm", "2100:5000:400"]):
        found = json.loads(run("predict", build, *most, *asked).stdout)
        assert found["cautions"][0]["value"] == found["peak_power"]["rpm"]


@pytest.mark.parametrize("text", ["octan=87", "octane", "octane=87 hp", "piston_speed=20",
                                  "peak_speed=-1", "octane=1,250"])  # fmt: skip
def test_a_caution_that_means_nothing_is_answered_with_what_to_write(text):
    with pytest.raises(ceilings.CeilingError, match="write octane=87"):
        ceilings.read([text])


@pytest.mark.parametrize(
    ("chances", "said"),
    [
        ((0.35, 0.39), "too close to call between a (35 % chance that it is the best of these) and"
         " b (39 %)"),
        ((0.4, 0.3), "a (40 % chance that it is the best of these, a slight favourite only)"),
        ((0.9, 0.1), "a (90 % chance that it is the best of these)"),
        ((None, None), "a"),
    ],
)  # fmt: skip
def test_a_favourite_is_none_where_another_is_as_likely_the_best(chances, said):
    ranked = [
        SimpleNamespace(name=name, chance=one) for name, one in zip("ab", chances, strict=True)
    ]
    assert choice_text.favourite(SimpleNamespace(ranked=ranked)) == said
