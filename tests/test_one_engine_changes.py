"""Limits of a change of parts on an engine that was not measured: narrower, and they hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.constants import foot, pound_force
from typer.testing import CliRunner

import pullbook
from pullbook.commands.main import app
from pullbook.model.comparison.compare import compare
from pullbook.model.limits.pair_kinds import CHANGED, ONE_ENGINE, ONE_SHOP
from pullbook.model.prediction.over_band import Band
from pullbook.model.prediction.predict import on_one_dyno
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.demo import dyno_pulls, part_changes, shops
from pullbook.schemas.standing import Standing
from pullbook.text import variation_text

BAND = (2500.0, 4500.0)
LBFT = 1 / (foot * pound_force)
FIELDS = {"cylinders": 8, "bore": 4.03, "stroke": 3.48, "compression_ratio": 9.6,
          "intake_duration": 218, "exhaust_duration": 224}  # fmt: skip
#: From one mounting to the next, and what a builder leaves out: common practice, no source.
MOUNTING, LEFT_OUT = 0.006, 0.25


@pytest.fixture(scope="module")
def predictor():
    return pullbook.load()


def change(predictor, before, after):
    """Return the difference of two builds of one engine, and of two engines built so."""
    found = on_one_dyno(predictor.model, None, None)([after, before])
    apart = [replace(one, parts=None) for one in found]
    rpm = np.array([3000.0])
    return found, *(
        compare(both, ("after", "before"), predictor.model.pairs, Band(BAND, BAND), 0.9, rpm, True)
        for both in (found, apart)
    )


def test_a_change_on_one_engine_is_surer_than_the_difference_of_two_engines(predictor):
    before, after = (build_files.of_fields({**FIELDS, "intake_duration": d}) for d in (218, 236))
    _, one, two = change(predictor, before, after)
    assert (one.shared, two.shared) == (CHANGED, ONE_SHOP)
    assert one.mean.value == two.mean.value
    assert one.mean.high - one.mean.low < 0.7 * (two.mean.high - two.mean.low)


def test_where_no_engine_was_tested_again_the_limits_are_those_of_two_engines(predictor):
    pairs = {name: one for name, one in predictor.model.pairs.items() if CHANGED not in name}
    few = replace(predictor, model=replace(predictor.model, pairs=pairs))
    (base,) = (build_files.of_fields(FIELDS) for _ in range(1))
    (usual,), (one,) = (
        each.vary(base, {"intake_duration": [236.0]}, BAND) for each in (predictor, few)
    )
    assert one.difference.shared == ONE_SHOP
    assert one.difference.calibrated
    widths = [each.difference.mean.high - each.difference.mean.low for each in (usual, one)]
    assert widths[0] < 0.7 * widths[1]
    assert "those of two engines" in " ".join(variation_text.explained([one]))


def test_the_same_parts_differ_by_how_an_engine_is_mounted_alone(predictor):
    before, after = (build_files.of_fields(FIELDS) for _ in range(2))
    _, one, _ = change(predictor, before, after)
    assert one.mean.value == 0
    share = one.mean.high / one.mean_a
    assert 0.005 < share < 0.03


def test_vary_and_choose_give_the_limits_of_one_engine(tmp_path):
    file = tmp_path / "launch.yaml"
    file.write_text("".join(f"{name}: {value}\n" for name, value in FIELDS.items()))
    words = ["vary", str(file), "--field", "intake_duration=206,230"]
    told = " ".join(CliRunner().invoke(app, words).stdout.split())
    assert "what this engine makes with the other value minus what it makes as it is" in told
    words = ["choose", str(file), "--free", "lobe_separation", "--goal", "2500:4500"]
    told = " ".join(CliRunner().invoke(app, words).stdout.split())
    assert "Differences are of one engine with other parts, on one dyno" in told


def test_a_measured_engine_has_limits_of_its_own(predictor, tmp_path):
    sheet = tmp_path / "ran.csv"
    front = "".join(f"{name}: {value}\n" for name, value in FIELDS.items())
    rows = "".join(f"{rpm},{torque}\n" for rpm, torque in
                   ((2500, 352), (3000, 361), (3500, 364), (4000, 349), (4500, 330)))  # fmt: skip
    sheet.write_text(f"---\n{front}correction: SAE J1349\n---\nrpm,torque\n{rows}")
    build = tmp_path / "after.yaml"
    build.write_text("measured: ran.csv\nintake_duration: 230\n")
    (base,) = build_files.read(build)
    (start,) = predictor.starts([base])
    (one,) = predictor.vary(base, {"intake_duration": [218.0]}, BAND, start=start)
    assert one.difference.shared == ONE_ENGINE


def trials(predictor, seeds):
    """Return true and predicted changes, with noise, of families that were never seen, lb-ft."""
    rpm = np.linspace(*BAND, 41)
    for seed in seeds:
        rng = np.random.default_rng(seed)
        made = [made.build for made in dyno_pulls.run(shops.Circle(8, 60, 4242 + seed))]
        before = [one for one in made if one.values["aspiration"] == "natural"][:24]
        after = [part_changes.changed(one, rng, float(rng.uniform()), 0.4) for one in before]
        curves = dyno_pulls.simulate([*before, *after])
        means = LBFT * np.array([curve.at(rpm)[:, 0].mean() for curve in curves])
        for at, both in enumerate(zip(before, after, strict=True)):
            given = [{n: v for n, v in one.values.items() if v is not None} for one in both]
            same = [name for name in given[0] if given[0][name] == given[1].get(name)]
            kept = {"cylinders", "bore", "stroke", "arrangement", "aspiration"}
            for name in same:
                if name not in kept and rng.random() < LEFT_OUT:
                    given = [{n: v for n, v in one.items() if n != name} for one in given]
            found, one, two = change(predictor, *map(build_files.of_fields, given))
            if all(single.standing is not Standing.OUTSIDE for single in found):
                noise = MOUNTING * means[at] * np.sqrt(2) * rng.normal()
                yield means[len(before) + at] - means[at] + noise, one.mean, two.mean


@pytest.mark.slow
def test_limits_of_a_change_hold_on_engines_of_families_never_seen(predictor):
    """Bounds: two standard errors of 90 % for as many engines below, five points above and those.

    The control: half of the limits must not hold.
    """
    true, one, two = zip(*trials(predictor, range(5, 15)), strict=True)
    inside = np.mean(
        [low <= value <= high for value, (_, low, high) in zip(true, one, strict=True)]
    )
    half = np.mean([abs(value - mid) <= (high - mid) / 2
                    for value, (mid, _, high) in zip(true, one, strict=True)])  # fmt: skip
    error = np.sqrt(0.09 / len(true))
    assert len(true) > 150
    assert 0.9 - 2 * error < inside < 0.95 + 2 * error
    assert half < 0.9 - 2 * error
    widths = [np.mean([high - low for _, low, high in some]) for some in (one, two)]
    assert widths[0] < 0.6 * widths[1]
