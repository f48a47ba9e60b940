"""Limits of one's own dyno and of measured engines hold on engines kept out of lone shops' piles.

A small seeded part of `make coverage`. The negative control calibrates by row: on the readings that
the model has learned from.
"""

from typing import NamedTuple

import numpy as np
import pytest

from pullbook.model.learning.settings import Settings
from pullbook.model.prediction.predict import predict
from pullbook.model.trained.pulls import of_curated
from pullbook.model.trained.start import Start
from pullbook.model.training.train_model import train
from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.curation.curate import curate
from pullbook.pipeline.curation.read_own import OwnReader
from pullbook.pipeline.demo import sheets, shops
from pullbook.pipeline.features import feature_table

pytestmark = pytest.mark.slow
SHOPS, PILE, LEARNED, LEVEL = 4, 110, 60, 0.9


class Inside(NamedTuple):
    """How much more of each engine's readings lies inside its limits than these promise."""

    new: list[float]
    measured: list[float]
    by_row: list[float]


def off_by(found, pull):
    """Return how far readings are off, and the expected error of each."""
    rpm, torque = (pull[name].to_numpy(dtype=float) for name in ("rpm", "torque"))
    return np.abs(np.log(torque / found.torque(rpm))), found.width(rpm)


def over(found, pull):
    off, width = off_by(found, pull)
    inside = np.mean(off <= found.factor("point", LEVEL) * width)
    return float(inside) - found.kept("point", LEVEL)


def of_shop(folder, seed):
    """Train on the first engines of a lone shop's pile and ask about the others."""
    sheets.make(folder, shops.Circle(1, PILE, seed, 3))
    data = curate([folder], own=OwnReader((folder,)))
    engine = engines_of(data.builds)
    pulls = {str(name): own for name, own in data.pulls.groupby("sheet_id", sort=False)}
    learned = engine <= engine[LEARNED]
    builds = data.builds[learned].reset_index(drop=True)
    known = data.pulls[data.pulls["sheet_id"].isin(builds["sheet_id"])]
    model = train(builds, known, feature_table.fit(builds), Settings(folds=6))
    fitted = predict(model, builds, [None] * len(builds))
    rows = np.concatenate([off_by(one, pulls[one.sheet_id])[0] for one in fitted])
    row = np.quantile(rows, LEVEL)
    rng, inside = np.random.default_rng(seed), Inside([], [], [])
    for number in np.unique(engine[~learned]):
        own = data.builds[engine == number]
        asked = own.assign(engine=None).astype(own.dtypes.to_dict())
        found = predict(model, asked, [None] * len(asked))
        inside.new.append(np.mean([over(one, pulls[one.sheet_id]) for one in found]))
        off = np.concatenate([off_by(one, pulls[one.sheet_id])[0] for one in found])
        inside.by_row.append(np.mean(off <= row) - LEVEL)
        if len(own) > 1 and own["engine"].notna().all():
            before, after = rng.permutation(len(own))[:2]
            one = of_curated(own.iloc[before], pulls[str(own["sheet_id"].iloc[before])])
            (answer,) = predict(model, asked.iloc[[after]], [None], starts=[Start(one, (one,))])
            inside.measured.append(over(answer, pulls[answer.sheet_id]))
    return inside


@pytest.fixture(scope="module")
def inside(tmp_path_factory):
    found = [of_shop(tmp_path_factory.mktemp("pile"), 700 + at) for at in range(SHOPS)]
    return Inside(*(np.concatenate(part) for part in zip(*found, strict=True)))


@pytest.mark.parametrize(("regime", "fewest"), [("new", 40), ("measured", 12)])
def test_limits_hold_on_engines_kept_out(inside, regime, fewest):
    """Within two standard errors of the level, or above."""
    found = getattr(inside, regime)
    assert len(found) >= fewest
    assert found.mean() >= -2 * found.std(ddof=1) / np.sqrt(len(found))


def test_limits_of_rows_would_break(inside):
    found = inside.by_row
    assert found.mean() < -0.2
    assert found.mean() < -5 * found.std(ddof=1) / np.sqrt(len(found))
