"""Sheets of one engine complete one another, and builds that are asked about."""

import numpy as np
import pandas as pd
import pytest

from pullbook.model.prediction.predict import predict
from pullbook.model.trained.pulls import of_curated
from pullbook.model.trained.start import Start
from pullbook.pipeline.features import feature_table, one_engine
from pullbook.schemas.part_groups import GROUPS, SWAPPED

NAN = np.nan


def columns(**given):
    return {name: np.array(values, dtype=float) for name, values in given.items()}


def test_every_field_of_a_part_is_swapped_with_one_part():
    fields = [name for names in GROUPS.values() for name in names]
    assert sorted(name for names in SWAPPED for name in names) == sorted(fields)


def test_what_was_not_swapped_is_taken_from_the_other_sheet():
    given = columns(
        compression_ratio=[10.0, NAN, 9.0], airflow=[600, 750, NAN], runner_length=[6.5, NAN, NAN]
    )
    whole, shared = one_engine.complete(given, np.array([0, 0, -1]))
    assert whole["compression_ratio"].tolist() == [10.0, 10.0, 9.0]
    # Another carburettor sits on the same manifold; a sheet alone takes nothing.
    assert whole["airflow"][:2].tolist() == [600.0, 750.0]
    assert whole["runner_length"][:2].tolist() == [6.5, 6.5]
    assert np.isnan(whole["runner_length"][2])
    assert given["compression_ratio"][1] != 10.0
    assert shared == []


def test_a_part_that_was_swapped_tells_nothing_of_the_one_before():
    given = columns(intake_flow=[210.0, 240.0], port_csa=[2.0, NAN], intake_valve=[NAN, NAN])
    whole, shared = one_engine.complete(given, np.array([4, 4]))
    assert np.isnan(whole["port_csa"][1])
    assert shared == []


def test_what_no_sheet_gives_is_one_value():
    given = columns(compression_ratio=[NAN, NAN, NAN], intake_duration=[210.0, 240.0, 240.0])
    _, shared = one_engine.complete(given, np.array([1, 1, -1]))
    filled = columns(compression_ratio=[9.0, 10.0, 10.0])
    assert one_engine.share(filled, shared)["compression_ratio"].tolist() == [9.0, 9.0, 10.0]


def test_a_camshaft_changes_no_ratio_that_was_not_written_down(demo):
    row = demo.builds[demo.builds["intake_duration"].notna()].iloc[[0]]
    pair = row.loc[[row.index[0]] * 2].assign(compression_ratio=np.nan)
    pair["intake_duration"] = pair["intake_duration"] + np.array([0.0, 30.0])
    apart = feature_table.make(pair, demo.model.filling)["compression_ratio"]
    both = feature_table.make(pair, demo.model.filling, np.zeros(2, dtype=int))["compression_ratio"]
    assert apart.iloc[0] != apart.iloc[1]
    assert both.iloc[0] == both.iloc[1] == apart.iloc[0]


def start_of(demo, row):
    """Return a curated sheet of an engine that the model has not learned from, as measured."""
    pull = demo.pulls[demo.pulls["sheet_id"] == row["sheet_id"].iloc[0]]
    pull = pull.assign(torque=pull["torque"] * 1.05)
    one = of_curated(row.iloc[0], pull)
    return Start(one, (one,))


def test_a_field_that_only_the_new_build_gives_is_no_change(demo):
    given = demo.builds["compression_ratio"].notna() & demo.builds["engine"].notna()
    row = demo.builds[given].iloc[[0]]
    blank = row.assign(compression_ratio=np.nan)
    asked = row.assign(engine=None, shop=None)
    start = start_of(demo, blank)
    (told,) = predict(demo.model, asked, [None], starts=[start])
    (kept,) = predict(demo.model, blank.assign(engine=None, shop=None), [None], starts=[start])
    both = predict(
        demo.model, pd.concat([asked, blank.assign(engine=None, shop=None)]).astype(row.dtypes),
        [None, None], starts=[start, start],
    )  # fmt: skip
    assert both[0].ahead.shares_process(both[1].ahead)
    rpm = start.named.rpm
    assert both[1].torque(rpm) == pytest.approx(both[0].torque(rpm))
    assert told.torque(rpm) == pytest.approx(kept.torque(rpm), rel=0.01)


def test_an_answer_does_not_depend_on_what_else_is_asked(demo):
    """Builds of one engine that are asked alone get the same answers in one call as in several."""
    given = demo.builds["compression_ratio"].notna() & demo.builds["engine"].notna()
    row = demo.builds[given].iloc[[0]]
    blank = row.assign(compression_ratio=np.nan)
    start = start_of(demo, blank)
    asked = pd.concat([row, blank]).assign(engine=None, shop=None).astype(row.dtypes)
    both = predict(demo.model, asked, [None, None], starts=[start, start], alone=True)
    for at in range(2):
        (alone,) = predict(demo.model, asked.iloc[[at]], [None], starts=[start], alone=True)
        assert both[at].torque(start.named.rpm) == pytest.approx(alone.torque(start.named.rpm))
