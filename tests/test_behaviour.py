"""The demo's model behaves like an engine, for builds of every family, with fields missing too."""

import numpy as np
import pytest

from pullbook.model.prediction.predict import predict

RPM = np.arange(2000, 4501, 250.0)
WIDE = np.arange(1600.0, 6576.0, 25.0)
_DURATIONS = (
    "intake_duration", "exhaust_duration", "intake_duration_seat", "exhaust_duration_seat",
)  # fmt: skip


@pytest.fixture(scope="module")
def builds(demo):
    """Naturally breathing builds of all families, as they were given."""
    natural = demo.builds[demo.builds["aspiration"] == "natural"]
    return natural.groupby("family").head(6).reset_index(drop=True)


def torque(demo, builds):
    found = predict(demo.model, builds, [None] * len(builds))
    return np.array([one.torque(RPM) for one in found])


def changed(builds, **factors):
    new = builds.copy()
    for name, change in factors.items():
        new[name] = change(new[name])
    return new


def test_more_displacement_gives_no_less_torque(demo, builds):
    """Five per cent of bore and three of stroke: more torque at every speed up to the peak."""
    bigger = changed(builds, bore=lambda b: b * 1.03, stroke=lambda s: s * 1.03)
    before, after = torque(demo, builds), torque(demo, bigger)
    peak = before.argmax(axis=1)
    upto = np.arange(len(RPM))[None, :] <= peak[:, None]
    assert (after > before)[upto].mean() > 0.99
    assert np.median((after / before)[upto]) == pytest.approx(1.03**3, abs=0.04)


def test_more_displacement_moves_the_torque_peak_down(demo, builds):
    """Four per cent of bore and of stroke."""
    before, after = curves(demo, builds), curves(demo, larger(builds))
    moved = WIDE[after.argmax(axis=1)] - WIDE[before.argmax(axis=1)]
    assert (moved <= 25).mean() > 0.95
    assert (moved < 0).mean() > 0.85
    assert moved.mean() < -50


def test_more_displacement_moves_the_power_peak_down(demo, builds):
    """Told by the middle of where power is within 2 % of its highest.

    A power curve is flat at its top, so the highest point of it may lie anywhere there.
    """
    before, after = (top_of(curves(demo, each) * WIDE) for each in (builds, larger(builds)))
    moved = after - before
    assert (moved <= 25).mean() > 0.8
    assert moved.mean() < -50


def larger(builds):
    return changed(builds, bore=lambda b: b * 1.04, stroke=lambda s: s * 1.04)


def curves(demo, builds):
    found = predict(demo.model, builds, [None] * len(builds))
    return np.array([one.torque(WIDE) for one in found])


def top_of(heights):
    return np.array([WIDE[one >= 0.98 * one.max()].mean() for one in heights])


def test_more_cam_moves_torque_up_the_range(demo, builds):
    """Sixteen degrees more and the lift that goes with it: less at the bottom, more at the top."""
    given = builds.dropna(subset=["intake_duration", "exhaust_duration"]).reset_index(drop=True)
    bigger = changed(
        given,
        **dict.fromkeys(
            (
                "intake_duration",
                "exhaust_duration",
                "intake_duration_seat",
                "exhaust_duration_seat",
            ),
            lambda d: d + 16,
        ),
        **dict.fromkeys(("intake_lift", "exhaust_lift"), lambda lift: lift + 0.045),
    )
    pairs = list(
        zip(*(predict(demo.model, b, [None] * len(b)) for b in (given, bigger)), strict=True)
    )
    low = np.array([b.torque(RPM[:2]).mean() / a.torque(RPM[:2]).mean() for a, b in pairs])
    # The top: nine in ten sweeps of builds with such a cam have ended there.
    tops = [np.array([np.quantile(b.sweeps[:, 1], 0.9)]) for _, b in pairs]
    high = np.array(
        [b.torque(top)[0] / a.torque(top)[0] for (a, b), top in zip(pairs, tops, strict=True)]
    )
    assert (low < 1).mean() > 0.9
    assert (high > low).mean() > 0.95
    assert np.median(high) > 1.0


def test_more_compression_on_enough_octane_does_not_lose(demo, builds):
    enough = builds[(builds["octane"] >= 91) & (builds["compression_ratio"] < 9.6)]
    enough = enough.reset_index(drop=True)
    more = changed(enough, compression_ratio=lambda c: c + 0.7)
    before, after = torque(demo, enough), torque(demo, more)
    assert (after.mean(axis=1) > before.mean(axis=1)).mean() > 0.9
    assert np.median(after / before) > 1.0


def test_it_holds_with_fields_missing(demo, builds):
    bare = builds.copy()
    for name in ("port_csa", "intake_flow", "exhaust_flow", "rod_length", "timing", "airflow"):
        bare[name] = np.nan
    bigger = changed(bare, bore=lambda b: b * 1.03, stroke=lambda s: s * 1.03)
    assert (torque(demo, bigger) > torque(demo, bare)).mean() > 0.98
