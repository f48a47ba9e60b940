"""Standing: what was tested stands inside, what was not does not, for the right reason."""

import numpy as np
import pandas as pd
import pytest
from scipy.spatial import cKDTree
from scipy.stats import spearmanr

from pullbook.model.learning.curve_model import Blend
from pullbook.model.learning.sample import sample_of
from pullbook.model.learning.settings import Settings
from pullbook.model.prediction.predict import predict
from pullbook.model.range import inside_or_outside, novelty, unseen_combinations
from pullbook.model.training import bundle, hold_out, train_model
from pullbook.pipeline.features import feature_table
from pullbook.schemas.field_words import spoken
from pullbook.schemas.standing import Standing


def standings(demo, builds):
    return [p.standing for p in predict(demo.model, builds, [None] * len(builds))]


def test_distances_are_scipys(demo):
    places = demo.model.reference.places
    ours, positions = novelty._nearest(places[:50], places, 4)
    theirs, _ = cKDTree(places).query(places[:50], 4)
    assert ours == pytest.approx(theirs, abs=1e-6)
    assert np.allclose(ours[:, 0], 0, atol=1e-6)
    assert positions.shape == (50, 4)


def test_a_held_out_distance_never_counts_the_own_shop(demo):
    reference = demo.model.reference
    table = feature_table.make(demo.builds, demo.model.filling)
    one = 17
    others = reference.places[reference.shop != reference.shop[one]]
    near = np.sort(np.linalg.norm(others - reference.places[one], axis=1))[: novelty.NEAREST]
    distances, positions = novelty.held_out_nearest(reference, table, novelty.NEAREST)
    assert novelty.mean_distance(distances)[one] == pytest.approx(np.mean(near))
    assert reference.shop[one] not in reference.shop[positions[one]]


def test_what_is_left_out_with_the_shop_does_not_count_either(demo):
    reference = demo.model.reference
    table = feature_table.make(demo.builds, demo.model.filling)
    family = np.unique(demo.builds["family"].fillna("none"), return_inverse=True)[1]
    distances, positions = novelty.held_out_nearest(reference, table, 5, family)
    there = np.isfinite(distances)
    assert there.any(axis=1).mean() > 0.9
    assert not ((family[positions] == family[:, None]) & there).any()


def test_few_tested_builds_stand_outside(demo):
    found = standings(demo, demo.builds)
    assert np.mean([s is Standing.OUTSIDE for s in found]) < 0.02


PUSHED = [
    ("stroke", 7.5),
    ("bore", 5.6),
    ("compression_ratio", 15.5),
    ("intake_duration", 310.0),
    ("lobe_separation", 94.0),
    ("intake_type", "tunnel ram"),
    ("fuel", "methanol"),
    ("octane", 120.0),
    ("cylinders", 12),
    ("arrangement", "flat"),
]


@pytest.mark.parametrize(
    ("field", "value"), [p for p in PUSHED if p[0] not in ("intake_type", "arrangement")]
)
def test_a_build_pushed_out_stands_outside_for_that_reason(demo, field, value):
    builds = demo.builds.dropna(subset=[field]).iloc[::16].copy()
    builds[field] = np.full(len(builds), value, dtype=object)
    builds = builds.astype({field: demo.builds[field].dtype})
    found = predict(demo.model, builds, [None] * len(builds))
    sizes = {"bore", "stroke", "cylinders", "displacement", "cylinder_displacement"}
    right = sizes if field in sizes else {field}
    assert np.mean([outside_for(p, right) for p in found]) >= 0.95


def outside_for(found, fields):
    return found.standing is Standing.OUTSIDE and found.reasons[0].field in fields


#: Pairs that go together on nearly all sheets: the builds get the one large and the other small.
TORN = [
    ("intake_duration", "exhaust_duration"),
    ("intake_lift", "intake_valve"),
    ("port_csa", "exhaust_flow"),
    ("intake_valve", "exhaust_valve"),
    ("primary_diameter", "intake_valve"),
]


@pytest.mark.parametrize(("large", "small"), TORN)
def test_two_numbers_never_found_together_stand_outside(demo, large, small):
    builds = demo.builds.dropna(subset=[large, small]).iloc[::16].copy()
    builds[large] = demo.builds[large].quantile(0.99)
    builds[small] = demo.builds[small].quantile(0.01)
    found = predict(demo.model, builds, [None] * len(builds))
    assert np.mean([outside_for(p, {"combination"}) for p in found]) >= 0.95
    messages = [p.reasons[0].message for p in found]
    assert np.mean([spoken(large) in m or spoken(small) in m for m in messages]) > 0.9
    assert not any("_" in message for message in messages)


def test_two_choices_never_found_together_stand_outside(demo):
    both = (demo.builds["fuel_metering"] == "port injection") & (
        demo.builds["intake_type"] == "dual plane"
    )
    assert not both.any()
    builds = demo.builds[demo.builds["intake_type"] == "dual plane"].iloc[::8].copy()
    builds["fuel_metering"] = "port injection"
    found = predict(demo.model, builds, [None] * len(builds))
    assert np.mean([outside_for(p, {"combination"}) for p in found]) >= 0.95
    reason = found[0].reasons[0]
    assert reason.value == "intake_type dual plane with fuel_metering port injection"
    assert reason.message == (
        "intake type dual plane and fuel metering port injection were never tested together"
    )


def test_what_is_found_together_is_the_same_after_loading(demo):
    loaded, _ = bundle.load(demo.bundle)
    builds = demo.builds.iloc[::40].assign(intake_duration=demo.builds["intake_duration"].max())
    assert loaded.combinations.find_unseen(builds) == demo.model.combinations.find_unseen(builds)


def test_few_sheets_of_a_shop_lie_beyond_what_others_have_together(demo):
    shop = demo.model.reference.shop
    out = shop % 4 == 0
    fitted = unseen_combinations.fit(demo.builds[~out].reset_index(drop=True), shop[~out])
    flagged = [one is not None for one in fitted.find_unseen(demo.builds[out])]
    assert np.mean(flagged) < 0.03


def test_extremes_of_other_shops_are_those_of_a_slow_count():
    rng = np.random.default_rng(3)
    values = rng.normal(size=(40, 3))
    values[rng.random((40, 3)) < 0.3] = np.nan
    shop = rng.integers(0, 5, 40)
    low, high = unseen_combinations._extremes_of_others(values, shop)
    for row in range(40):
        others = values[shop != shop[row]]
        assert low[row] == pytest.approx(np.nanmin(others, axis=0))
        assert high[row] == pytest.approx(np.nanmax(others, axis=0))


def test_limits_widen_with_distance(demo):
    """Engines moved away from all others, a part at a time: they are less certain for it."""
    natural = demo.builds[demo.builds["aspiration"] == "natural"].iloc[::4]
    distance, width = [], []
    for step in (1.0, 1.06, 1.12, 1.18):
        moved = natural.assign(
            bore=natural["bore"] / step,
            intake_duration=natural["intake_duration"] * step,
            lobe_separation=natural["lobe_separation"] / step**0.5,
        )
        found = predict(demo.model, moved, [None] * len(moved))
        distance += [float(np.mean(one.distances[: novelty.NEAREST])) for one in found]
        width += [one.half_width(0.9) / one.widened for one in found]
    distance, width = np.array(distance), np.array(width)
    assert width[distance > np.quantile(distance, 0.9)].mean() > 1.05 * width[: len(natural)].mean()
    assert spearmanr(distance, width).statistic > 0.15


def test_reasons_say_what_was_tested(demo):
    build = demo.builds.iloc[[0]].copy()
    build["compression_ratio"] = 15.5
    (found,) = predict(demo.model, build, [None])
    low, high = demo.builds["compression_ratio"].min(), demo.builds["compression_ratio"].max()
    reason = found.reasons[0]
    assert (reason.field, reason.value, reason.low, reason.high) == (
        "compression_ratio", 15.5, low, high,
    )  # fmt: skip
    assert reason.message == (
        f"compression ratio 15.5:1 is above the tested range, {low:.4g} to {high:.4g}:1"
    )


def test_reasons_are_metric_for_metric_readers(demo):
    build = demo.builds.iloc[[0]].copy()
    build["bore"] = 5.6
    (found,) = predict(demo.model, build, [None])
    (reason,) = (one for one in found.reasons if one.field == "bore")
    low, high = 25.4 * demo.builds["bore"].min(), 25.4 * demo.builds["bore"].max()
    assert reason.worded(metric=True) == (
        f"bore 142.2 mm is above the tested range, {low:.4g} to {high:.4g} mm"
    )
    assert reason.message.startswith("bore 5.6 in is above")


REFERENCE = novelty.Reference(
    names=(), center=np.zeros(0), scale=np.zeros(0), relevance=np.zeros(0),
    places=np.zeros((0, 0)), shop=np.zeros(0, dtype=int), edge=0.71, outside=1.0,
    ranges={"bore": (3.0, 4.0)}, seen={"fuel": {"e85": 2, "gasoline": 70}},
)  # fmt: skip


@pytest.mark.parametrize(
    ("bore", "fuel", "distance", "standing", "words"),
    [
        (3.5, "gasoline", 0.5, Standing.INSIDE, None),
        (3.5, "gasoline", 0.77, Standing.EDGE, "few tested builds are like this one as a whole"
         " (distance 0.77; 90 % of the tested builds come within 0.71 of another)"),
        (3.5, "gasoline", 1.0004, Standing.OUTSIDE, "no tested build is like this one as a whole"
         " (distance 1.0004; 98 % of the tested builds come within 1.0000 of another)"),
        (4.05, "gasoline", 0.5, Standing.EDGE, "bore 4.05 in is just above the tested range,"
         " 3 to 4 in"),
        (4.00004, "gasoline", 0.5, Standing.EDGE, "bore 4.00004 in is just above the tested range,"
         " 3 to 4 in"),
        (2.5, "gasoline", 0.5, Standing.OUTSIDE, "bore 2.5 in is below the tested range,"
         " 3 to 4 in"),
        (3.5, "methanol", 0.5, Standing.OUTSIDE, "fuel methanol was never tested"
         " (tested: e85, gasoline)"),
        (3.5, "e85", 0.5, Standing.EDGE, "fuel e85 was tested on only 2 sheets"),
    ],
)  # fmt: skip
def test_what_a_reason_says_agrees_with_the_standing(bore, fuel, distance, standing, words):
    columns = dict.fromkeys((*novelty.CHOICES, *novelty.NUMBERS)) | {"bore": bore, "fuel": fuel}
    build = pd.DataFrame([columns]).astype(dict.fromkeys(novelty.NUMBERS, float))
    sizes = build[list(novelty.DERIVED)]
    (found,) = inside_or_outside.reasons(REFERENCE, build, sizes, np.array([distance]), [None])
    assert inside_or_outside.standing(found) is standing
    assert [reason.message for reason in found] == ([] if words is None else [words])


def test_outside_is_answered_with_wider_limits(demo):
    inside = demo.builds.iloc[[0]]
    out = inside.assign(compression_ratio=15.5)
    (a,), (b,) = (predict(demo.model, x, [None]) for x in (inside, out))
    assert b.widened >= 1.5
    assert b.half_width(0.9) > 1.4 * a.half_width(0.9)


def test_error_grows_with_distance(demo):
    """On held-out shops; the rank correlation is weak, and more than chance would make it."""
    table = feature_table.make(demo.builds, demo.model.filling)
    sample = sample_of(demo.builds, demo.pulls, table)
    shop = demo.model.reference.shop
    few = Settings(rounds=300, folds=4)
    fold = hold_out.folds(shop, few.folds)
    speeds = demo.model.speeds
    curves = hold_out.curves(sample, fold, speeds, few, Blend(), train_model.THREADS, iter)
    square = hold_out.residuals(sample, curves, speeds) ** 2
    error = np.bincount(sample.sheet, square) / np.bincount(sample.sheet)
    distance = novelty.mean_distance(
        novelty.held_out_nearest(demo.model.reference, table, novelty.NEAREST)[0]
    )
    found = spearmanr(distance, error, alternative="greater")
    assert found.pvalue < 0.01
