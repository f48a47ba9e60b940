"""The stand-in for an engine behaves like one, and the demo's mess is as it says."""

import os
import subprocess
import sys
from collections import Counter

import numpy as np
import pytest
from numpy.lib import introspect

from pullbook.pipeline.demo import engine_cycle, engine_families, gas_exchange

RPM = np.arange(1500.0, 6501.0, 500.0)


def torque(**changes):
    """Return torque over rpm of a mild eight-cylinder engine, changed."""
    rng = np.random.default_rng(4)
    build = engine_families.draw(engine_families.FAMILIES[1], rng, 0.35)
    build.values |= {"octane": 100.0, "exhaust_type": "long-tube header", "primary_length": 32.0}
    build.values |= {"primary_diameter": 1.625, "aspiration": "natural", "boost": None} | changes
    return engine_cycle.brake_torque(engine_families.cases([build], [RPM]))[0]


def test_a_bigger_cam_loses_below_and_gains_above():
    mild = torque(intake_duration=200, exhaust_duration=206)
    wild = torque(intake_duration=244, exhaust_duration=250)
    assert wild[0] < mild[0]
    assert wild[-1] > 1.1 * mild[-1]


def test_more_displacement_makes_more_torque_and_peaks_earlier():
    small, big = torque(stroke=3.0), torque(stroke=3.75)
    assert big.max() > 1.1 * small.max()
    assert big[-1] / big.max() < small[-1] / small.max()


def test_compression_pays_on_enough_octane_only():
    good = torque(compression_ratio=11.0).mean() / torque(compression_ratio=9.0).mean()
    poor = (
        torque(compression_ratio=11.0, octane=85.0).mean()
        / torque(compression_ratio=9.0, octane=85.0).mean()
    )
    assert good > 1.02 > poor


def test_boost_makes_more():
    boosted = torque(aspiration="turbocharged", boost=7.0)
    assert boosted.mean() > 1.25 * torque().mean()


_DRAWN = """
import numpy as np
from pullbook.pipeline.demo import engine_cycle as cycle, engine_families as engines
rng = np.random.default_rng(7)
builds = [engines.draw(family, rng, wild) for family in engines.FAMILIES for wild in (0.1, 0.9)]
rpm = np.arange(1500.0, 2700.0, 100.0)
print(*cycle.brake_torque(engines.cases(builds, [rpm] * len(builds)))[0].tolist())
"""


def test_another_kind_of_processor_invents_the_same_engines():
    """Numpy has its own exponential for each kind; they differ in the last bit of a double."""
    exponential = introspect.opt_func_info(func_name="^exp$", signature="float64")["exp"]
    kinds = next(iter(exponential.values()))["available"].split()
    special = [kind for kind in kinds if "baseline" not in kind]
    if not special:
        pytest.skip("this processor is of the plainest kind")
    here, plain = (
        np.array(
            subprocess.run(
                [sys.executable, "-c", _DRAWN], env=os.environ | more, check=True, text=True,
                capture_output=True,
            ).stdout.split(),
            dtype=float,
        )
        for more in ({}, {"NPY_DISABLE_CPU_FEATURES": " ".join(special)})
    )  # fmt: skip
    assert here == pytest.approx(plain, rel=1e-12)


def test_torque_per_cubic_inch_is_that_of_real_engines(demo):
    """Naturally breathing petrol engines make 0.9 to 1.4 lb-ft/in3 at best: common practice."""
    builds = demo.builds.set_index("sheet_id")
    size = np.pi / 4 * builds["bore"] ** 2 * builds["stroke"] * builds["cylinders"].astype(float)
    best = demo.pulls.groupby("sheet_id")["torque"].max() / size
    natural = best[builds["aspiration"] == "natural"]
    assert natural.between(0.85, 1.45).mean() > 0.99


def test_the_mess_is_there(demo):
    faults = Counter(m.extra.get("fault") for m in demo.made)
    shops = {m.shop.name for m in demo.made}
    assert 780 <= len(demo.made) <= 830
    assert len(shops) == 60
    assert 8 <= len(demo.made) - faults[None] <= 20
    assert {m.shop.carrier for m in demo.made} == {"files", "tables", "workbook"}
    assert {m.shop.metric for m in demo.made} == {True, False}
    assert len({m.stated for m in demo.made}) == 5
    twice = Counter(id(m.build) for m in demo.made)
    assert 0.04 < sum(n > 1 for n in twice.values()) / len(twice) < 0.2


def test_exactly_the_spoiled_sheets_are_refused(demo):
    spoiled = {m.sheet_id for m in demo.made if "fault" in m.extra}
    everything = {m.sheet_id for m in demo.made}
    assert set(demo.builds["sheet_id"]) == everything - spoiled


def test_scatter_between_engines_and_shops_is_as_in_a_trade(demo):
    """Curated readings against the engines as designed: about 2 % within a shop, 3 % over all."""
    made = {m.sheet_id: m for m in demo.made}
    off = {}
    for name, pull in demo.pulls.groupby("sheet_id"):
        truth = np.interp(pull["rpm"], made[name].rpm, made[name].truth)
        off[name] = np.log(pull["torque"].to_numpy() / truth).mean()
    shop = demo.builds.set_index("sheet_id")["shop"]
    mean = np.array([off[name] for name in shop.index])
    within = mean - np.array([mean[shop == s].mean() for s in shop])
    assert 0.012 < np.std(within) < 0.03
    assert 0.018 < np.std(mean) < 0.04


@pytest.mark.parametrize("seed", [1, 2])
def test_lobes_open_as_long_as_the_sheet_says(seed):
    """The lift of the stand-in's lobe at the stated duration is 0.050 in at the follower."""
    build = engine_families.draw(engine_families.FAMILIES[0], np.random.default_rng(seed), 0.5)
    case = engine_families.cases([build], [np.array([3000.0])])
    edge = case.intake_center + build.values["intake_duration"] / 2
    lift = gas_exchange.lift_at(
        edge, case.intake_center, case.intake_open, case.intake_lift, case.intake_shape
    )
    assert lift[0] / 0.0254 == pytest.approx(0.050 * 1.5, rel=1e-6)
