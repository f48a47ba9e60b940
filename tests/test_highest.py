"""The highest value over the answered range: what is scored, and against what."""

import numpy as np
import pytest

from pullbook.model.learning.sample import Sample
from pullbook.model.limits import calibration, conformal, highest
from pullbook.model.range import tested_speeds

RISING = np.linspace(2000, 5000, 121)


def hill(rpm, at):
    """Return a curve with its top of 400 at an engine speed."""
    return 400 - 1e-5 * (rpm - at) ** 2


def missed(sweep, top, guess, answered=(2000.0, 5000.0)):
    """Return the miss of a measured hill, swept over a range, from a predicted one."""
    rpm = np.arange(sweep[0], sweep[1] + 1, 100.0)
    fine = highest.fine_speeds(*answered)
    return highest.miss(rpm, hill(rpm, top), fine, hill(fine, guess))


def test_a_peak_within_the_range_is_a_peak():
    found = highest.highest(RISING, hill(RISING, 3510.0))
    assert found.height == pytest.approx(400)
    assert found.rpm == pytest.approx(3510)
    assert not found.at_end


def test_a_curve_that_still_climbs_ends_at_the_end():
    found = highest.highest(RISING, hill(RISING, 6000.0))
    assert found.rpm == 5000
    assert found.at_end


def test_the_measured_value_is_the_highest_reading_within_the_range():
    off = missed((1500, 6000), 5600.0, 4000.0)
    assert off.height == pytest.approx(np.log(hill(5000.0, 5600.0) / 400))
    assert off.rpm == pytest.approx(np.log(5000 / 4000), abs=1e-6)


@pytest.mark.parametrize(
    ("sweep", "guess", "scored"),
    [
        ((2000, 5000), 3500.0, True),
        ((2900, 4100), 3500.0, True),  # all that lies around the place where the peak should be
        ((2900, 3700), 3500.0, False),  # ends before a later peak would show
        ((3500, 5000), 3500.0, False),  # starts at the peak
        ((2000, 4900), 6000.0, True),  # near enough to the end of the range
        ((2000, 4600), 6000.0, False),  # power still climbs, and the sweep stops short
        ((4300, 5000), 6000.0, True),
        ((5200, 6500), 6000.0, False),  # nothing within the range
    ],
)
def test_a_sweep_is_scored_if_it_covers_the_predicted_place(sweep, guess, scored):
    assert (missed(sweep, 3500.0, guess) is not None) == scored


def test_the_answered_range_is_what_enough_sheets_or_the_own_pull_were_swept_over():
    near = np.array([[[1800, 4600], [2300, 5100], [2400, 5600], [2600, np.inf]]], dtype=float)
    assert tested_speeds.answered(near).tolist() == [[2500, 5000]]
    own = np.array([[2000.0, 5300.0]])
    assert tested_speeds.answered(near, own).tolist() == [[2000, 5250]]
    nothing = np.full((1, 4, 2), np.nan)
    assert np.isnan(tested_speeds.answered(nothing)).all()
    assert tested_speeds.answered(nothing, own).tolist() == [[2000, 5250]]


def held_out(engines, seed, biased_ends):
    """Return sheets of hills and the curves predicted of them; half of them still climb.

    Where ends are biased, what is predicted at the end of the range is far from what is measured.
    """
    rng = np.random.default_rng(seed)
    speeds = np.linspace(2000, 5000, 41)
    ends = np.arange(engines) % 2 == 1
    true = np.where(ends, 6500.0, 3500.0)
    level = rng.normal(0, np.where(ends & biased_ends, 0.08, 0.02))
    rpm = np.arange(2000.0, 5001.0, 100.0)
    sheet = np.repeat(np.arange(engines), len(rpm))
    measured = np.log(hill(np.tile(rpm, engines), true[sheet])) + level[sheet]
    sample = Sample(
        sheet_ids=tuple(map(str, range(engines))),
        shops=np.array(["own"] * engines),
        engines=np.arange(engines),
        table=None,
        sheet=sheet,
        rpm=np.tile(rpm, engines),
        target=measured,
        weight=np.ones(engines),
    )
    return sample, speeds, np.log(hill(speeds, true[:, None])), ends


@pytest.mark.parametrize("engines", [60, 12])
def test_peaks_and_ends_have_limits_of_their_own_if_there_are_enough(engines):
    sample, speeds, curves, ends = held_out(engines, 1, biased_ends=True)
    found = {}
    for quantity in ("torque", "power"):
        scored = highest.scores(
            sample, speeds, curves, np.full(curves.shape, 0.02),
            np.tile([2000.0, 5000.0], (engines, 1)), power=quantity == "power",
        )  # fmt: skip
        assert np.isfinite(scored.height).all()
        if quantity == "torque":
            assert scored.at_end.tolist() == ends.tolist()
        found |= calibration._of_kinds(quantity, scored, sample.engines)
    peak, end = found["torque"], found["torque_end"]
    if engines == 60:
        assert (peak.groups, end.groups) == (30, 30)
        assert end.factor(0.8) > 2 * peak.factor(0.8)
    else:
        assert peak is not end
        assert peak.groups == end.groups == 12
        assert peak.factor(0.8) == end.factor(0.8)


def test_the_highest_value_lies_inside_as_often_as_promised():
    """Calibrated on other sheets; with limits of peaks used for ends, it would not."""
    inside, mixed = [], []
    for seed in range(25):
        sample, speeds, curves, _ = held_out(80, seed, biased_ends=True)
        scored = highest.scores(
            sample, speeds, curves, np.full(curves.shape, 0.02),
            np.tile([2000.0, 5000.0], (80, 1)), power=False,
        )  # fmt: skip
        first = np.arange(80) < 60
        kinds = [
            conformal.group_scores(
                scored.height[rows := np.flatnonzero(first & (scored.at_end == end))],
                np.arange(len(rows)), np.arange(len(rows)),
            )
            for end in (False, True)
        ]  # fmt: skip
        asked = np.flatnonzero(~first)
        most = np.array([kinds[int(end)].factor(0.9) for end in scored.at_end[asked]])
        inside.append(np.mean(scored.height[asked] <= most))
        mixed.append(np.mean(scored.height[asked] <= kinds[0].factor(0.9)))
    assert 0.88 <= np.mean(inside) <= 0.95
    assert np.mean(mixed) < 0.8
