"""Coverage by regime: shop known to the model or new, engine family known to it or new.

For each part one model serves all four regimes. It is trained without one part of the shops, one
part of the families, and some engines of the rest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.model.evaluation.prediction_errors import score_predictions
from pullbook.model.learning.sample import sample_of
from pullbook.model.prediction.predict import predict
from pullbook.model.training import hold_out
from pullbook.model.training.train_model import THREADS, train
from pullbook.pipeline.features import feature_table

if TYPE_CHECKING:
    from pullbook.model.learning.settings import Settings
    from pullbook.model.training.hold_out import Track
    from pullbook.pipeline.parallel.workers import Crew

KNOWN, NEW = "known", "new"
#: Share of the engines of known shops and families that is held out.
_ENGINES = 0.15


def held_out(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    settings: Settings,
    parts: int,
    track: Track = iter,
    workers: Crew = THREADS,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return readings and sheets as `prediction_errors.score_predictions` does, by regime.

    Parameters
    ----------
    builds, pulls
        Curated tables. Sheets without a family are used for training and not predicted.
    settings
        Settings of each training run.
    parts
        Number of parts that shops and families are held out in.
    track
        Wraps the loop over parts to show progress.
    workers
        Threads, processes or a cluster that work on the folds of each training run.

    Returns
    -------
    Both with columns ``shop_is`` and ``family_is``, ``known`` or ``new``; empty if there are fewer
    than two shops or families.

    """
    shop, family = (pd.factorize(builds[name])[0] for name in ("shop", "family"))
    has_family = family >= 0
    if len(np.unique(shop)) < 2 or len(np.unique(family[has_family])) < 2:
        return pd.DataFrame(), pd.DataFrame()
    of_shop = hold_out.folds(shop, parts)
    of_family = np.full(len(builds), -1)
    of_family[has_family] = hold_out.folds(family[has_family], parts)
    features = feature_table.fit(builds)
    engines = sample_of(builds, pulls, features.table).engines
    rng = np.random.default_rng(settings.seed)
    spare = rng.random(engines.max() + 1) < _ENGINES
    found = []
    for number in track(range(int(min(of_shop.max(), of_family.max())) + 1)):
        out = (of_shop == number) | (of_family == number) | spare[engines]
        new = pd.DataFrame(
            {name: ~builds[name].isin(builds[name][~out]) for name in ("shop", "family")}
        )
        for table in _part(builds, pulls, out, has_family & out, new, settings, workers):
            found.append(table)
    readings, sheets = (pd.concat(part, ignore_index=True) for part in (found[::2], found[1::2]))
    return readings, sheets


def _part(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    out: np.ndarray,
    predicted: np.ndarray,
    new: pd.DataFrame,
    settings: Settings,
    workers: Crew,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    inner, outer = (builds[rows].reset_index(drop=True) for rows in (~out, predicted))
    features = feature_table.fit(inner)
    inner_pulls = pulls[pulls["sheet_id"].isin(inner["sheet_id"])]
    model = train(inner, inner_pulls, features, settings, workers=workers)
    readings, sheets = score_predictions(
        outer,
        {str(name): own for name, own in pulls.groupby("sheet_id", sort=False)},
        predict(model, outer, outer["shop"].tolist()),
    )
    is_new = new[predicted].set_index(outer["sheet_id"])
    for table in (readings, sheets):
        for name in ("shop", "family"):
            state = is_new[name].reindex(table["sheet_id"]).to_numpy()
            table[f"{name}_is"] = np.where(state, NEW, KNOWN)
    return readings, sheets
