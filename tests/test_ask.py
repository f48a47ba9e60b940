"""Answers: their form, and that they behave as promised."""

import json

import numpy as np
import pandas as pd
import pytest

import pullbook
from pullbook.drawings import fine_speeds
from pullbook.model.prediction.predict import MOST_LOOKED_INTO, predict
from pullbook.model.range.tested_speeds import speeds_of
from pullbook.pipeline.builds.read_builds import read_builds as typed
from pullbook.pipeline.features import engineered_features
from pullbook.schemas.fields import FIELDS

RPM = speeds_of(2000, 6500, 250)


def answers(demo, builds, level=0.9, rpm=RPM, shops=None):
    told = {"id": "x", "format": 1, "sheets": 1, "shops": 1}
    shops = shops or [None] * len(builds)
    found = predict(demo.model, builds, shops, told, alone=True)
    return [one.answer(rpm, level) for one in found]


def test_the_form_is_the_promised_one(demo):
    (answer,) = answers(demo, demo.builds.iloc[[3]])
    told = json.loads(json.dumps(answer.as_json(), allow_nan=False))
    assert {
        "sheet_id", "standing", "reasons", "level", "calibrated", "curve", "peak_torque",
        "peak_power", "nearest", "bundle",
    } <= set(told)  # fmt: skip
    assert set(told["curve"][0]) == {
        "rpm", "torque", "torque_low", "torque_high", "band_low", "band_high", "power",
        "power_low", "power_high", "supported",
    }  # fmt: skip
    assert {"torque", "low", "high", "rpm", "rpm_low", "rpm_high"} <= set(told["peak_torque"])
    assert {"power", "low", "high", "rpm", "rpm_low", "rpm_high"} <= set(told["peak_power"])
    assert set(told["nearest"][0]) == {"sheet_id", "distance"}
    assert [p["rpm"] for p in told["curve"]] == RPM.tolist()


def test_limits_nest(demo):
    """A band holds the whole curve, so it is no narrower than a point; 95 % no narrower than 80."""
    few = demo.builds.iloc[::100]
    for low, high in zip(answers(demo, few, 0.8), answers(demo, few, 0.95), strict=True):
        for a, b in zip(low.curve, high.curve, strict=True):
            assert b.band.low <= b.torque.low <= a.torque.low < a.torque.value
            assert a.torque.value < a.torque.high <= b.torque.high <= b.band.high
            assert a.power.value == pytest.approx(a.torque.value * a.rpm / 5252.113, rel=1e-6)


def test_a_known_shop_gets_tighter_limits_and_its_own_reading(demo):
    offsets = demo.model.shop_offsets
    high = demo.model.shop_codes[int(np.argmax(offsets))]
    build = demo.builds.iloc[[3]]
    (strange,), (known,) = answers(demo, build), answers(demo, build, shops=[high])
    assert known.regime == "known shop"
    assert strange.regime == "new shop"
    for a, b in zip(strange.curve, known.curve, strict=True):
        assert b.torque.high / b.torque.low < a.torque.high / a.torque.low
        assert b.torque.value / a.torque.value == pytest.approx(np.exp(offsets.max()))
    (unknown,) = answers(demo, build, shops=["f" * 32])
    assert unknown.curve == strange.curve


def test_known_shops_limits_are_tighter_for_a_reason(demo):
    """Held-out sheets of known shops err less once their shop's reading is taken out."""
    new, known = demo.model.regimes["new shop"], demo.model.regimes["known shop"]
    for level in (0.5, 0.8, 0.9):
        assert known.point.threshold(level) < new.point.threshold(level)


def test_an_rpm_nobody_swept_is_marked(demo):
    few = demo.builds.iloc[::60]
    rpm = np.array([900.0, 3500.0, 9500.0])
    for answer in answers(demo, few, rpm=rpm):
        assert [p.supported for p in answer.curve] == [False, True, False]


def test_a_question_nobody_can_support_has_no_peak(demo):
    (answer,) = answers(demo, demo.builds.iloc[[3]], rpm=np.array([9000.0, 9500.0]))
    assert answer.peak_torque is None
    assert answer.as_json()["peak_power"] is None


def test_a_picture_names_the_peak_that_the_text_names(demo):
    """Its curve is finer, but the answered speeds are those that were asked."""
    rpm = speeds_of(2000, 6500, 250)
    for one in predict(demo.model, demo.builds.iloc[:30], [None] * 30):
        asked, drawn = one.answer(rpm, 0.9), fine_speeds.finer(one, rpm, 0.9)
        assert drawn.peak_power == asked.peak_power
        assert drawn.peak_torque == asked.peak_torque
        assert len(drawn.curve) > 3 * len(asked.curve)
        last = max((point.rpm for point in asked.curve if point.supported), default=None)
        assert last is None or asked.peak_power.rpm.value <= last


def test_the_peak_is_the_top_of_the_curve(demo):
    rpm = speeds_of(2500, 4500, 10)
    (answer,) = answers(demo, demo.builds.iloc[[3]], rpm=rpm)
    supported = [p for p in answer.curve if p.supported]
    best = max(p.torque.value for p in supported)
    assert answer.peak_torque.height.value == pytest.approx(best, rel=1e-4)
    assert answer.peak_torque.rpm.low < answer.peak_torque.rpm.value < answer.peak_torque.rpm.high


def test_the_order_of_builds_and_company_do_not_matter(demo):
    few = demo.builds.iloc[[3, 50, 200]]
    together = predict(demo.model, few, [None] * 3)
    for i, one in enumerate(together):
        (alone,) = predict(demo.model, few.iloc[[i]], [None])
        assert alone.log_torque == pytest.approx(one.log_torque, abs=1e-9)
        assert alone.spread == pytest.approx(one.spread, abs=1e-9)


def test_missing_fields_are_told_the_most_worth_first(demo):
    build = demo.builds.iloc[[3]].copy()
    build[["intake_flow", "port_csa", "intake_duration"]] = np.nan
    (answer,) = answers(demo, build)
    worth = [m.narrows or 0.0 for m in answer.missing]
    assert worth == sorted(worth, reverse=True)
    assert {"intake_flow", "port_csa", "intake_duration"} <= {m.field for m in answer.missing}
    assert 0.0 < worth[0] < 0.7
    many = answers(demo, demo.builds.head(MOST_LOOKED_INTO + 1))
    assert all(m.narrows is None for a in many for m in a.missing)


def test_fewer_fields_widen_on_the_whole(demo):
    kept = ["sheet_id", "shop", "aspiration", "cylinders", "bore", "stroke", "fuel", "copies"]
    bare = demo.builds.iloc[::20].copy()
    bare[[c for c in bare if c not in kept]] = None
    bare = bare.astype(demo.builds.dtypes.to_dict())
    full = predict(demo.model, demo.builds.iloc[::20], [None] * len(bare))
    poor = predict(demo.model, bare, [None] * len(bare))
    ratio = [p.half_width(0.9) / f.half_width(0.9) for p, f in zip(poor, full, strict=True)]
    assert np.median(ratio) > 1.05


def test_curves_are_as_smooth_as_a_good_dyno_curve(demo):
    """Roughness, the mean size of second differences every 100 rpm, against the true curves."""
    rpm = np.arange(2000, 5001, 100.0)
    made = {m.sheet_id: m for m in demo.made}
    picked = [
        i for i, name in enumerate(demo.builds["sheet_id"])
        if made[name].rpm[0] <= 2000 and made[name].rpm[-1] >= 5000 and made[name].shop.step == 100
    ]  # fmt: skip
    assert len(picked) > 10

    def rough(torque):
        return np.abs(np.diff(torque, 2)).mean() / torque.mean()

    found = predict(demo.model, demo.builds.iloc[picked], [None] * len(picked))
    ours = [rough(p.torque(rpm)) for p in found]
    names = demo.builds["sheet_id"].iloc[picked]
    true = [rough(np.interp(rpm, made[n].rpm, made[n].truth)) for n in names]
    assert np.median(ours) < 1.5 * np.median(true)


def test_python_warns_of_what_it_leaves_out_of_a_build():
    with pytest.warns(UserWarning, match="spark colour"):
        (build,) = typed({"cylinders": 8, "bore": 4.03, "stroke": 3.48, "spark colour": "blue"})
    assert build.values.keys() & {"spark colour", "spark_colour"} == set()


def test_the_values_that_a_missing_field_may_have_each_make_one_whole_build():
    from pullbook.model.prediction import missing_fields

    model = pullbook.load().model
    build = model.fields.iloc[[0]]
    numbers = engineered_features.numbers(model.fields)
    for name in ("lifter", "fuel", "exhaust_type"):
        at = [FIELDS[name].choices.index(one) if isinstance(one, str) else np.nan
              for one in model.fields[name].tolist()]  # fmt: skip
        np.testing.assert_array_equal(numbers[name], np.array(at, dtype=float))
    trials = {
        "lifter": ["solid flat", "hydraulic roller"],
        "octane": [87.0, 91.5],
        "muffled": [True],
    }
    made = missing_fields._variants(build, trials)
    assert (made.dtypes == build.dtypes).all()
    wanted = [(name, value) for name, values in trials.items() for value in values]
    for row, (name, value) in zip(range(len(made)), wanted, strict=True):
        slow = build.copy()
        slow[name] = pd.Series([value], index=build.index, dtype=build[name].dtype)
        pd.testing.assert_frame_equal(made.iloc[[row]], slow)
    near = np.arange(40)
    for name, (values, _) in missing_fields._trials(
        model, build, ["lifter", "fuel", "octane", "exhaust_type"], near
    ).items():
        assert len(values) == 3 or values == model.fields[name].iloc[near].dropna().tolist()
