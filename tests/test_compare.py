"""Comparing two builds: limits of the difference, its chance, its crossovers, and what is said."""

import dataclasses
import json
import re

import numpy as np
import pytest
from command_line import run

from pullbook.model.choices import choose
from pullbook.model.comparison import compare_several
from pullbook.model.comparison.compare import compare
from pullbook.model.limits.conformal import Scores
from pullbook.model.limits.difference_errors import expected
from pullbook.model.prediction.over_band import cut_to_tested
from pullbook.model.prediction.predict import predict
from pullbook.pipeline.privacy import anonymise
from pullbook.schemas.answer import Between
from pullbook.schemas.standing import Standing
from pullbook.text import comparison_text
from pullbook.words.units import Units

BAND = (2500.0, 4500.0)
MANIFEST = {"id": "0123456789abcdef", "sheets": 9, "shops": 3}


@pytest.fixture(scope="module")
def two(demo):
    """Two builds of one shop that differ."""
    builds = demo.builds.iloc[[3, 60]]
    return predict(demo.model, builds, [None, None])


def between(demo, both, **change):
    given = {"pairs": demo.model.pairs, "band": BAND, "level": 0.9, "one_shop": True} | change
    rpm = np.arange(given["band"][0], given["band"][1] + 1, 250.0)
    band = cut_to_tested(both, given["band"])
    return compare(both, ("a", "b"), given["pairs"], band, given["level"], rpm, given["one_shop"])


def test_the_difference_is_that_of_the_two_curves(demo, two):
    found = between(demo, two)
    expected = two[0].torque(found.rpm) - two[1].torque(found.rpm)
    assert [one.value for one in found.curve] == pytest.approx(expected)
    assert found.mean.value == pytest.approx(found.mean_a - found.mean_b)


def test_the_other_way_round_is_the_same_with_another_sign(demo, two):
    one, other = between(demo, two), between(demo, two[::-1])
    assert one.mean.value == pytest.approx(-other.mean.value)
    assert one.mean.low == pytest.approx(-other.mean.high)
    assert one.chance == pytest.approx(1 - other.chance)
    assert [c.value for c in one.crossovers] == pytest.approx([c.value for c in other.crossovers])


def test_two_shops_are_less_sure_than_one_and_both_surer_than_two_bands(demo):
    near = demo.builds[demo.builds["family"] == demo.builds["family"].iloc[0]].index[:2]
    both = predict(demo.model, demo.builds.loc[near], [None, None])
    one, other = between(demo, both), between(demo, both, one_shop=False)
    inside = np.linspace(*BAND, 41)
    bands = sum(
        float(np.mean(b.torque(inside) * np.sinh(b.threshold("point", 0.9) * b.width(inside))))
        for b in both
    )
    half = [(f.mean.high - f.mean.low) / 2 for f in (one, other)]
    assert half[0] < half[1] < bands


def test_a_build_against_itself_is_even_and_told_to_be(demo, two):
    found = between(demo, [two[0], two[0]])
    assert found.mean.value == 0
    assert found.chance == pytest.approx(0.5, abs=0.01)
    assert not found.told_apart
    assert found.crossovers == []


def test_chance_and_limits_agree(demo):
    """Where nought is a limit at a level, the chance is that of one tail."""
    for i in range(0, 300, 20):
        both = predict(demo.model, demo.builds.iloc[[i, i + 1]], [None, None])
        found = between(demo, both)
        beyond = abs(found.chance - 0.5) - 0.45
        assert abs(beyond) < 0.003 or found.told_apart == (beyond > 0)


def test_crossovers_are_where_the_sign_changes(demo, two):
    class Line:
        """A build whose torque is a straight line."""

        def __init__(self, slope):
            self.slope, self.standing = slope, two[0].standing
            self.measured = self.ahead = self.without = self.parts = None

        def torque(self, rpm):
            return 300 + self.slope * (rpm - 3300) / 1000

        def width(self, rpm):
            return np.full(len(rpm), 0.001)

        def correlation(self, _other, rpm, scores):
            return np.full(len(rpm), scores.correlation(0.0))

        def supported(self, rpm):
            return np.ones(len(rpm), dtype=bool)

    found = between(demo, [Line(20), Line(-20)])
    (cross,) = found.crossovers
    assert cross.value == pytest.approx(3300, abs=1)
    assert 2500 < cross.low < 3300 < cross.high < 4500
    factor = demo.model.pairs["one shop"].point.threshold(0.9)
    scores = demo.model.pairs["one shop"]
    both = expected(np.array([0.3]), np.array([0.3]), scores.correlation(0.0))[0]
    assert cross.high - 3300 == pytest.approx(factor * both * 1000 / 40, abs=25)


def test_too_few_shops_give_no_limits(demo, two):
    few = demo.model.pairs["one shop"]
    mean, point = (Scores(s.values, s.mass, 4) for s in (few.mean, few.point))
    few = dataclasses.replace(few, mean=mean, point=point)
    found = between(demo, two, pairs={"one shop": few})
    assert found.mean.low is None
    assert not found.calibrated
    assert between(demo, two, pairs={}).chance is None


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("compare")
    text = "cylinders: 8\nbore: 4.03 in\nstroke: 3.48 in\ncompression_ratio: 9.6\nfuel: gasoline\n"
    text += (
        "intake_type: dual plane\nlobe_separation: 112\nintake_duration: {}\nexhaust_duration: {}\n"
    )
    for name, cam in (("small", 210), ("big", 236)):
        (folder / f"{name}.yaml").write_text(text.format(cam, cam + 6))
    return folder


def test_the_command_prints_the_promised_json(files, demo):
    words = ("compare", files / "small.yaml", files / "big.yaml", "--bundle", demo.bundle)
    done = run(*words, "--band", "2500:4500", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["band"] == [2500, 4500]
    assert set(found["mean_torque"]) == {"a", "b", "difference", "low", "high"}
    assert 0 < found["chance_a_above_b"] < 1
    assert {"rpm", "difference", "low", "high"} <= set(found["curve"][0])
    assert set(found["standing"]) == {"a", "b"}
    for cross in found["crossovers"]:
        assert set(cross) == {"rpm", "low", "high"}
    assert (
        found["mean_torque"]["low"]
        < found["mean_torque"]["difference"]
        < found["mean_torque"]["high"]
    )
    wider = json.loads(run(*words, "--json", "--two-shops", "--level", "0.95").stdout)
    assert wider["mean_torque"]["high"] > found["mean_torque"]["high"]


def test_a_shop_that_the_bundle_knows_is_compared_as_itself(files, demo, demo_key):
    """Both builds are read as that shop reads, so their difference grows or shrinks with it."""
    words = ("compare", files / "small.yaml", files / "big.yaml", "--bundle", demo.bundle, "--json")
    plain = json.loads(run(*words).stdout)["mean_torque"]
    codes = {anonymise.code(demo.key, m.shop.name): m.shop.name for m in demo.made}
    place = int(np.argmax(np.abs(demo.model.shop_offsets)))
    key = ("--key-file", demo_key)
    done = run(*words, "--shop", codes[demo.model.shop_codes[place]], *key)
    assert done.returncode == 0, done.stderr
    own = json.loads(done.stdout)["mean_torque"]
    reads = np.exp(demo.model.shop_offsets[place])
    for name in ("a", "b", "difference"):
        assert own[name] == pytest.approx(plain[name] * reads, abs=0.02)
    stranger = run(*words, "--shop", "0" * 32, *key)
    assert json.loads(stranger.stdout)["mean_torque"] == plain
    assert "does not know that shop" in stranger.stderr
    two = run(*words, "--shop", "0" * 32, "--two-shops", *key)
    assert two.returncode == 2
    assert "leave one" in two.stderr


def test_more_cam_loses_below_and_gains_above(files, demo):
    words = ("compare", files / "small.yaml", files / "big.yaml", "--bundle", demo.bundle)
    found = json.loads(run(*words, "--band", "2000:5500", "--json").stdout)
    assert found["curve"][0]["difference"] > 0 > found["curve"][-1]["difference"]
    assert len(found["crossovers"]) == 1


def test_no_chance_is_given_of_a_build_outside_the_data(demo, two):
    inside = between(demo, two)
    assert "% chance" in comparison_text.verdict(inside)
    outside = dataclasses.replace(inside, standings=(Standing.INSIDE, Standing.OUTSIDE))
    said = comparison_text.verdict(outside)
    better = "a" if outside.mean.value > 0 else "b"
    who = "the other" if better == "a" else "it"
    assert said == (
        f"{better} is predicted higher over the band, but {who} is outside the data, so no chance"
        " is given."
    )
    assert "%" not in said
    both = compare_several.Comparison([outside], [0.3, 0.7])
    assert [row[3:] for row in comparison_text.rows(both, Units.INCH)] == [
        ["", "inside the data"], ["", "outside the data"]
    ]  # fmt: skip
    told = comparison_text.text(both, MANIFEST, Units.INCH)
    assert "Outside the data: b." in told
    assert "chance of A\n" not in told
    assert all(line == line.rstrip() for line in told.splitlines())


def test_where_one_is_clearly_stronger_is_said_though_the_mean_is_not_clear(demo, two):
    found = between(demo, two)
    ends = [(5, 20), (5, 20), (-5, 20), *[(-20, 5)] * (len(found.rpm) - 4), (-20, -5)]
    curve = [Between((low + high) / 2, low, high) for low, high in ends]
    known = [True] * len(curve)
    unsure = dataclasses.replace(
        found, curve=curve, supported=known, mean=Between(1.0, -9.0, 11.0), chance=0.57
    )
    assert comparison_text.verdict(unsure) == (
        "A is clearly stronger from 2500 to 2750 rpm, B is clearly stronger at 4500 rpm; over the"
        " whole band the difference is not clear (57 % chance that A, a, makes more)."
    )
    unknown = dataclasses.replace(unsure, supported=[False, *known[1:-1], False])
    assert "A is clearly stronger at 2750 rpm; over" in comparison_text.verdict(unknown)


def test_it_says_it_in_words_and_draws_it(files, demo, tmp_path):
    words = ("compare", files / "small.yaml", files / "big.yaml", "--bundle", demo.bundle)
    done = run(*words, "--plot", tmp_path / "a.svg")
    said = " ".join(done.stdout.split())
    assert "A: small" in said
    assert re.search(r"\d % chance( that \w, \w+, makes more)?\)", said)
    assert "does not clear an engine" in said
    assert (tmp_path / "a.svg").read_text().count("rpm") >= 1


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (("--band", "4500:2500"), "rise"),
        (("--band", "low:high"), "not a range of rpm"),
        (("--band", "15000:16000"), "not tested from 15000 to 16000 rpm"),
        (("--level", "1.5"), "between 0 and 1"),
        (("--plot", "a.docx"), ".svg"),
    ],
)
def test_what_cannot_be_compared_is_one_sentence(files, demo, change, word):
    done = run(
        "compare", files / "small.yaml", files / "big.yaml", "--bundle", demo.bundle, *change
    )
    assert done.returncode == 2
    assert word in " ".join(done.stderr.split())


def test_a_build_that_cannot_be_read_is_named(files, demo, tmp_path):
    (tmp_path / "no.yaml").write_text("bore: 4\n")
    (tmp_path / "two.csv").write_text("sheet_id,bore,stroke,cylinders\na,4,3.5,8\nb,4,3.5,8\n")
    for name, word in (("no.yaml", "cylinders"), ("two.csv", "2 builds"), ("gone.yaml", "gone")):
        done = run("compare", files / "small.yaml", tmp_path / name, "--bundle", demo.bundle)
        assert done.returncode == 2
        assert word in done.stderr


def test_the_speed_of_a_peak_has_limits_within_the_answered_speeds(demo):
    found = predict(demo.model, demo.builds.iloc[:40], [None] * 40)
    seen = 0
    for one in found:
        for peak in one.peaks(np.arange(2500.0, 4001.0, 250.0), 0.9):
            if peak is not None and peak.rpm.low is not None:
                assert 2500 <= peak.rpm.low <= peak.rpm.value <= peak.rpm.high <= 4000
                seen += peak.rpm.low == 2500 or peak.rpm.high == 4000
    assert seen > 5


def test_power_of_a_choice_is_over_speeds_that_all_were_tested_at(demo):
    found = predict(demo.model, demo.builds.iloc[:12], [None] * 12)
    low, high = choose._shared_speeds(found)
    for one in found:
        assert one.supported(np.arange(low, high + 1, 50)).all()
    wider = np.array([low - 50, high + 50])
    assert not np.all([one.supported(wider[:1]) for one in found]) or low == found[0].speeds[0]
    assert not np.all([one.supported(wider[1:]) for one in found])
    nowhere = dataclasses.replace(found[0], sweeps=found[0].sweeps * 9)
    assert choose._shared_speeds([nowhere]) is None
