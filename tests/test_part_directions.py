"""Parts do to an invented engine what they do to a real one, and the shipped bundle knows it."""

import numpy as np
import part_directions
import pytest
from part_directions import ENGINES

import pullbook
from pullbook.pipeline.demo import dyno_pulls, engine_families
from pullbook.pipeline.demo.engine_builds import Build

DIRECTIONS = part_directions.directions()
FAMILIES = {family.name: family for family in engine_families.FAMILIES}


def simulated(name, values, heads=1.0):
    """Return the torque of the simulated engine at engine speeds."""
    family = FAMILIES[name]
    hidden = family.hidden
    build = Build(
        values | {"boost": None}, family, hidden.quality * heads, hidden.burn, hidden.friction, 1.0
    )
    (curve,) = dyno_pulls.simulate([build])
    return lambda rpm: curve.at(rpm)[:, 0]


def change(torque, name, direction):
    """Return the mean change of torque over the band, per cent."""
    before = part_directions.changed(ENGINES[name], direction.before)
    after = part_directions.changed(before if direction.after else ENGINES[name], direction.after)
    rpm = np.arange(direction.rpm[0], direction.rpm[1] + 1, 100.0)
    heads = 1.1 if direction.after.startswith("heads") else 1.0
    return 100 * np.mean(torque(name, after, heads)(rpm) / torque(name, before)(rpm) - 1)


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("direction", DIRECTIONS, ids=lambda d: d.name)
def test_the_simulated_engine_obeys_the_table(direction, engine):
    low, high = direction.percent
    assert low <= change(simulated, engine, direction) <= high


@pytest.fixture(scope="module")
def shipped():
    return pullbook.load()


@pytest.fixture(scope="module")
def predicted(shipped):
    def torque(_name, values, _heads=1.0):
        build = {name: value for name, value in values.items() if value is not None}
        return lambda rpm: np.array(
            [p.torque.value for p in shipped.predict(build, rpm=rpm)[0].curve]
        )

    return torque


#: Rows that the bundle that ships misses, by engine: it credits parts with too little, since builds
#: of other engines teach what a part does blurred.
MISSED = {
    ("a port smaller by 15 %, 1800 to 2600 rpm", "gannet-eight"),
    ("a port smaller by 15 %, 1800 to 2600 rpm", "petrel-six"),
}


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("direction", DIRECTIONS, ids=lambda d: d.name)
def test_the_bundle_that_ships_obeys_the_table(direction, engine, predicted, request):
    if (direction.name, engine) in MISSED:
        request.applymarker(pytest.mark.xfail(strict=True, reason="part effects come out shrunken"))
    low, high = direction.percent
    assert low <= change(predicted, engine, direction) <= high


@pytest.mark.parametrize("engine", ENGINES)
def test_compression_brings_less_where_the_octane_does_not_carry_it(engine, predicted):
    carried, short = (
        next(d for d in DIRECTIONS if d.part == f"1.5 points of compression {how}")
        for how in ("with the octane for it", "without the octane")
    )
    for torque in (simulated, predicted):
        assert change(torque, engine, short) < change(torque, engine, carried) - 0.5


@pytest.mark.parametrize("engine", ENGINES)
def test_a_bigger_cam_crosses_over_once_in_between(engine, predicted):
    (bigger, _) = (d for d in DIRECTIONS if d.part.startswith("18 deg more"))
    rpm = np.arange(1800.0, 5801.0, 100.0)
    for torque in (simulated, predicted):
        after = part_directions.changed(ENGINES[engine], bigger.after)
        gain = torque(engine, after)(rpm) / torque(engine, ENGINES[engine])(rpm) - 1
        assert gain[0] < 0 < gain[-1]
        crossings = rpm[1:][np.diff(np.sign(gain)) != 0]
        assert 2600 < crossings[-1] < 5400


@pytest.mark.parametrize("name", [n for n, f in FAMILIES.items() if f.cylinders >= 6])
def test_torque_for_each_cubic_inch_is_that_of_the_trade(name):
    """0.95 to 1.15 lb-ft/in3 of a mild rebuild, 1.1 to 1.3 of a street engine: no source."""
    family = FAMILIES[name]
    bore, stroke = family.bores[0], family.strokes[0]
    size = np.pi / 4 * bore**2 * stroke * family.cylinders
    valve = family.valve_ratio * bore
    csa = 0.9 * (family.valves // 2) * np.pi / 4 * (0.87 * valve) ** 2
    own = {
        "family": name, "cylinders": family.cylinders, "bore": bore, "stroke": stroke,
        "rod_length": family.rod, "lifter": family.lifters[0], "intake_valve": valve,
        "exhaust_valve": 0.79 * valve, "port_csa": csa, "port_volume": csa * 5.6 * 17.7,
    }  # fmt: skip
    street = {
        "intake_duration": 228, "exhaust_duration": 232, "intake_lift": 0.26 * valve,
        "exhaust_lift": 0.26 * valve, "compression_ratio": 10.0, "octane": 97.0,
        "airflow": 2.0 * size, "primary_diameter": 1.625,
    }  # fmt: skip
    mild = {
        "intake_duration": 202, "exhaust_duration": 206, "intake_lift": 0.22 * valve,
        "exhaust_lift": 0.22 * valve, "compression_ratio": 8.8, "octane": 89.0, "muffled": "yes",
        "exhaust_type": "cast manifold", "primary_diameter": None, "primary_length": None,
        "airflow": 1.5 * size,
    }  # fmt: skip
    if family.valves == 4:
        own |= {"fuel_metering": "port injection", "intake_type": "long runner"}
        own["runner_length"] = 14.0
    rpm = np.arange(1500.0, 5001.0, 100.0)
    base = ENGINES["gannet-eight"] | own
    of_mild, of_street = (
        simulated(name, base | parts, heads)(rpm).max() / 1.3558179483314004 / size
        for parts, heads in ((mild, 0.96), (street, 1.03))
    )
    assert 0.95 <= of_mild <= 1.15
    assert 1.1 <= of_street <= 1.3
