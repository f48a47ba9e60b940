"""An engine family that the data has never seen: held out for its limits, and named in answers."""

import dataclasses

import numpy as np
import pytest

from pullbook.model.learning import effect_points
from pullbook.model.learning.curve_model import grid_of
from pullbook.model.learning.sample import sample_of
from pullbook.model.limits.calibration import NEW_FAMILY
from pullbook.model.prediction.predict import predict
from pullbook.model.training.new_families import Groups, predict_unfamiliar
from pullbook.pipeline.features import feature_table
from pullbook.words import promise


class Flat:
    """A curve model that predicts the mean of what it was fitted to."""

    def __init__(self, sample, speeds):
        self.level, self.points = float(sample.target.mean()), len(speeds)

    def curves(self, table):
        """Return that for every build."""
        return np.full((len(table), self.points), self.level)


@pytest.fixture(scope="module")
def held(demo):
    """What was fitted on, and what was predicted, of the demo's sheets."""
    table = feature_table.make(demo.builds, demo.model.filling)
    sample = sample_of(demo.builds, demo.pulls, table)
    shop = np.unique(demo.builds["shop"], return_inverse=True)[1]
    labels = effect_points.labels_of(demo.builds)
    groups = Groups(shop, labels[:, 1], demo.builds["family"].notna().to_numpy(dtype=bool))
    speeds, fitted = grid_of(sample), []

    def fit(some):
        fitted.append(set(some.sheet_ids))
        return Flat(some, speeds)

    seen = {}

    def each(work, numbers):
        for number in numbers:
            found = work(number)
            seen.update(dict.fromkeys(found.sheets.tolist(), len(fitted) - 1))
            yield found

    rng = np.random.default_rng(1)
    found = predict_unfamiliar(sample, groups, fit, speeds, (2e-4, 1e-4), rng, each)
    return sample, groups, fitted, seen, found


def test_a_sheet_is_predicted_without_its_family_and_without_its_shop(held):
    sample, (shop, family, _), fitted, seen, found = held
    names = np.array(sample.sheet_ids)
    for at in found.sheets.tolist():
        known = np.isin(names, list(fitted[seen[at]]))
        assert not (known & (family == family[at])).any()
        assert not (known & (shop == shop[at])).any()


def test_every_family_is_scored_and_no_sheet_twice(held):
    _, groups, _, _, found = held
    named = set(np.unique(groups.family[groups.named]).tolist())
    assert set(groups.family[found.sheets].tolist()) == named
    assert len(set(found.sheets.tolist())) == len(found.sheets)
    assert groups.named[found.sheets].all()


def test_the_offset_of_a_shop_comes_from_its_other_families(held):
    _, groups, _, _, found = held
    alone = [
        at
        for at, sheet in enumerate(found.sheets.tolist())
        if not ((groups.shop == groups.shop[sheet]) & (groups.family != groups.family[sheet])).any()
    ]
    assert (found.offset[alone] == 0).all()
    assert np.any(found.offset != 0)


def test_with_few_families_there_are_none_of_these_limits(held):
    sample, groups, _, _, _ = held
    few = groups._replace(named=np.isin(groups.family, np.unique(groups.family[groups.named])[:4]))
    speeds = grid_of(sample)
    found = predict_unfamiliar(
        sample, few, lambda some: Flat(some, speeds), speeds, (1e-4, 1e-4),
        np.random.default_rng(1), map,
    )  # fmt: skip
    assert found is None


def asked(demo, family):
    build = demo.builds.iloc[[11]].assign(family=family, engine=None)
    if family is None:
        build = build.assign(bore=build["bore"] * 1.013)  # agrees with no tested family either
    (found,) = predict(demo.model, build, [None])
    return found


def test_a_new_family_gets_the_more_cautious_limits_and_the_lower_level(demo):
    usual = demo.model.regimes["new shop"]
    new = demo.model.regimes[f"new shop{NEW_FAMILY}"]
    assert 5 <= new.point.groups < usual.point.groups
    known, strange = asked(demo, demo.builds["family"].iloc[11]), asked(demo, "heron-nine")
    assert known.family == "known"
    assert strange.family in {"known", "new"}
    for found in (asked(demo, None), dataclasses.replace(strange, cautious=new)):
        assert found.cautious is new
        kept = found.kept("point", 0.9)
        assert kept == pytest.approx(min(0.9, new.point.groups / (new.point.groups + 1)))
        limits = usual.point.threshold(kept), new.point.threshold(kept)
        assert found.factor("point", 0.9) == max(limits)
        answer = found.answer(np.arange(2500.0, 4001.0, 250.0), 0.9)
        assert answer.held_out == "family"
        assert answer.groups == new.point.groups
    assert known.answer(np.arange(2500.0, 4001.0, 250.0), 0.9).held_out == "shop"


def test_the_answer_says_so(demo):
    rpm = np.arange(2500.0, 4001.0, 250.0)
    unnamed = asked(demo, None)
    (line,) = promise.family(unnamed.answer(rpm, 0.9))
    assert "names no engine family that was tested" in line
    assert "predicting whole families that the model had not learned from" in line
    assert "families, and" in promise.promise(unnamed.answer(rpm, 0.99))
    without = dataclasses.replace(unnamed, cautious=None)
    (line,) = promise.family(without.answer(rpm, 0.9))
    assert "too few families" in line
    assert promise.family(asked(demo, demo.builds["family"].iloc[11]).answer(rpm, 0.9)) == []
