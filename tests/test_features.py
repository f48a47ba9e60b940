"""Features: one engine reckoned by hand, and what is missing stays missing."""

import numpy as np
import pandas as pd
import pytest

from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.features import engineered_features
from pullbook.pipeline.features.engineered_features import FEATURES
from pullbook.pipeline.values.sheet import Build

ENGINE = {
    "cylinders": 8,
    "bore": 4.0,
    "stroke": 3.48,
    "rod_length": 5.7,
    "compression_ratio": 10.0,
    "valves_per_cylinder": 2,
    "intake_duration": 224.0,
    "exhaust_duration": 230.0,
    "intake_duration_seat": 276.0,
    "lobe_separation": 112.0,
    "intake_centerline": 108.0,
    "intake_lift": 0.5,
    "intake_valve": 2.02,
    "exhaust_valve": 1.6,
    "port_csa": 2.0,
    "port_volume": 180.0,
    "intake_flow": 240.0,
    "exhaust_flow": 180.0,
    "airflow": 650.0,
    "runner_length": 6.0,
    "primary_diameter": 1.625,
    "primary_length": 32.0,
    "octane": 91.0,
    "aspiration": "natural",
}
#: Worked out step by step with a pocket calculator; speed features at 6000 rpm.
BY_HAND = {
    "displacement": 349.8,
    "cylinder_displacement": 43.73,
    "bore_stroke": 1.149,
    "rod_ratio": 1.638,
    "overlap": 3.0,  # (224 + 230) / 2 - 224
    "intake_closing": 40.0,  # 108 + 112 - 180
    "exhaust_opening": 51.0,  # 116 + 115 - 180
    "lift_diameter": 0.2475,
    "valve_area_share": 0.2550,
    "exhaust_intake_flow": 0.75,
    "exhaust_intake_valve": 0.7921,
    "port_csa_size": 0.04574,
    "port_volume_size": 4.116,
    "flow_size": 5.488,
    "flow_coefficient": 0.5088,  # 240 / (147.2 x 3.2047)
    "airflow_size": 1.858,
    "header_area": 0.04743,
    "pressure_ratio": 1.0,
    "piston_speed": 3480.0,  # ft/min
    "port_velocity": 364.4,  # ft/s: 12.566 / 2 x 58
    "airflow_demand": 0.9343,  # 349.8 x 6000 / 3456 / 650
}


def table(*engines):
    sheets = [Build(sheet_id=f"e{i}", source="", values=dict(e)) for i, e in enumerate(engines)]
    return engineered_features.engineer(engineered_features.numbers(typed_builds(sheets)))


@pytest.mark.parametrize(("name", "value"), BY_HAND.items())
def test_features_are_those_worked_by_hand(name, value):
    found = table(ENGINE)[name].iloc[0] * (6000 if FEATURES[name].per_rpm else 1)
    assert found == pytest.approx(value, rel=1e-3)


def test_dynamic_compression_by_integration():
    """What is left of the stroke at 66 degrees after bottom, by a slow, clear crank."""
    angles = np.deg2rad(np.linspace(180 + 66, 360, 200001))
    throw, rod = 3.48 / 2, 5.7
    height = throw * np.cos(angles) + np.sqrt(rod**2 - (throw * np.sin(angles)) ** 2)
    left = np.sum(np.abs(np.diff(height)))
    assert table(ENGINE)["dynamic_compression"].iloc[0] == pytest.approx(1 + 9 * left / 3.48, 1e-4)


def test_mach_index_of_a_choked_engine_is_about_a_half():
    """Taylor: filling falls off beyond a mach index of about 0.5 (ch. 6, from memory)."""
    speeds = np.array([3000, 6000, 9000])
    index = table(ENGINE)["mach_index"].iloc[0] * speeds
    assert index[0] < 0.5 < index[2]


def test_runner_tuning_falls_with_length():
    longer = {**ENGINE, "runner_length": 12.0}
    short, long = table(ENGINE, longer)["runner_helmholtz"]
    assert long / short == pytest.approx(2**0.5)


def test_what_is_missing_stays_missing():
    bare = {name: ENGINE[name] for name in ("cylinders", "bore", "stroke", "aspiration")}
    row = table(bare).iloc[0]
    given = {"displacement", "cylinder_displacement", "bore_stroke", "pressure_ratio"}
    assert set(row.index[row.notna()]) - {"cylinders", "bore", "stroke", "aspiration"} == given | {
        "piston_speed"
    }


def test_features_do_not_know_in_what_order_builds_come():
    other = {**ENGINE, "bore": 3.5}
    one, two = table(ENGINE, other), table(other, ENGINE)
    pd.testing.assert_frame_equal(one, two.iloc[::-1].reset_index(drop=True))


@pytest.mark.parametrize("name", FEATURES)
def test_every_feature_names_formula_and_source(name):
    feature = FEATURES[name]
    assert len(feature.formula) > 5
    assert feature.source
