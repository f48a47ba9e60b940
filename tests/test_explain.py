"""Why: parts that sum to the prediction, nothing for parts that are as in the typical build."""

import json
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from command_line import run

from pullbook.model.answers import explain as explaining
from pullbook.model.answers.explain import GROUPS, explain, typical_build
from pullbook.model.prediction.predict import predict
from pullbook.schemas.fields import BUILD_FIELDS

RPM = np.array([2000.0, 3000.0, 4000.0])
QUESTION = Path(__file__).parents[1] / "data" / "examples" / "question.yaml"


@pytest.fixture(scope="module")
def found(demo):
    return explain(demo.model, demo.builds.iloc[[5]], RPM, 0.9)


def test_every_field_of_a_build_is_in_one_group():
    grouped = [name for group in GROUPS.values() for name in group]
    assert len(grouped) == len(set(grouped))
    assert set(BUILD_FIELDS) <= set(grouped)


def test_parts_sum_to_the_prediction(demo, found):
    (said,) = predict(demo.model, demo.builds.iloc[[5]], [None])
    whole = found.typical + sum(found.parts.values())
    assert whole == pytest.approx(found.torque, abs=1e-9)
    assert found.torque == pytest.approx(said.torque(RPM), abs=1e-6)


def test_the_typical_build_needs_no_explanation(demo):
    typical = typical_build(demo.model.fields).astype(
        demo.builds[list(demo.model.fields)].dtypes.to_dict()
    )
    found = explain(demo.model, typical, RPM, 0.9)
    assert found.torque == pytest.approx(found.typical)
    assert all(np.abs(part).max() < 1e-9 for part in found.parts.values())


def test_it_is_the_mean_over_every_order(demo, monkeypatch):
    """Against the plain definition, with three groups."""
    three = {name: GROUPS[name] for name in ("size", "camshaft", "heads")}
    monkeypatch.setattr(explaining, "GROUPS", three)
    build = demo.builds.iloc[[5]]
    found = explain(demo.model, build, RPM, 0.9)
    build = build[list(demo.model.fields)]
    typical = typical_build(demo.model.fields).astype(build.dtypes.to_dict())
    changes = {name: [] for name in three}
    for order in permutations(three):
        made = typical.copy()
        (before,) = predict(demo.model, made, [None])
        for name in order:
            for field in three[name]:
                made[field] = build[field].to_numpy()
            made = made.astype(build.dtypes.to_dict())
            (after,) = predict(demo.model, made, [None])
            changes[name].append(after.torque(RPM) - before.torque(RPM))
            before = after
    for name, each in changes.items():
        assert found.parts[name] == pytest.approx(np.mean(each, axis=0), abs=1e-6)


def test_the_nearest_sheets_and_what_differs(demo, found):
    assert found.nearest[0].sheet_id == demo.builds["sheet_id"].iloc[5]
    assert found.nearest[0].differs == []
    assert all(near.differs for near in found.nearest[2:])


def test_the_command(demo, tmp_path):
    words = ("explain", QUESTION, "--bundle", demo.bundle)
    done = run(*words, "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    total = np.array(told["typical"]) + sum(np.array(part) for part in told["parts"].values())
    assert total == pytest.approx(np.array(told["torque"]), abs=0.1)
    text = run(*words, "--plot", tmp_path / "why.svg")
    assert "camshaft" in text.stdout
    assert "\nsize  " in text.stdout
    assert "not the gain of bolting one on" in " ".join(text.stdout.split())
    assert "does not promise what a swap of parts will do" in " ".join(text.stdout.split())
    assert (tmp_path / "why.svg").stat().st_size > 5000
