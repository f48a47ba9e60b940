"""What the effects of few shops start from: a model learned elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.model.trained.find_sheet import find_sheet
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    import pandas as pd

    from pullbook.model.learning.curve_model import CurveModel
    from pullbook.model.learning.sample import Ints
    from pullbook.model.range.novelty import Reference
    from pullbook.model.range.tested_changes import TestedChanges
    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.features.fill_missing import Filling


class Start(NamedTuple):
    """What effects start from: a model learned elsewhere.

    Attributes
    ----------
    curve
        Its curve.
    filling
        How it fills missing fields.
    reference, changes
        Its tested data, and the changes of parts that were tested on one engine in it.
    learned
        Positions, among the sheets that are trained on, of those that it has learned from already;
        their engines calibrate nothing.
    """

    curve: CurveModel
    filling: Filling
    reference: Reference
    changes: TestedChanges
    learned: Ints


class StartError(InputError):
    """A bundle that cannot be started from; the message says why."""


def start_from(model: Model, builds: pd.DataFrame, pulls: pd.DataFrame) -> Start:
    """Return a model as a start for some sheets, which it may have learned from.

    Raises
    ------
    StartError
        It is a model of few shops' own data, which has no curve of its own to start from.

    """
    if model.own_dyno or model.curve is None:
        msg = (
            "the bundle to start from is of few shops' own sheets; train on those sheets together"
            " with the new ones instead, or start from the bundle of a circle"
        )
        raise StartError(msg)
    own = {str(name): rows for name, rows in pulls.groupby("sheet_id", sort=False)}
    learned = []
    for at, name in enumerate(builds["sheet_id"].tolist()):
        rpm, torque = (own[name][column].to_numpy(dtype=float) for column in ("rpm", "torque"))
        if find_sheet(model, builds.iloc[at], rpm, torque) is not None:
            learned.append(at)
    known = np.flatnonzero(builds["shop"].isin(model.shop_codes).to_numpy(dtype=bool))
    seen = np.union1d(np.array(learned, dtype=np.int64), known)
    return Start(model.curve, model.filling, model.reference, model.changes, seen)
