"""Curves of many builds at once, without limits or standing."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.model.learning import effect_points, smooth_curves
from pullbook.model.learning.sample import charge
from pullbook.model.trained import known_sheets
from pullbook.model.trained.engines import Engines
from pullbook.model.trained.known_sheets import start_curves
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    import pandas as pd

    from pullbook.model.learning.sample import Floats
    from pullbook.model.trained.engines import Ready
    from pullbook.model.trained.trained_model import Model

#: Beyond this no curve is torque: a hundred million times that of any engine.
_MOST_LOG = 20.0


class ImpossibleTorqueError(InputError):
    """A bundle gives torque that no engine makes, or none that is a number."""


def possible(log_torque: Floats) -> Floats:
    """Return curves, logarithms of lb-ft per cubic inch of charge, as they are.

    Raises
    ------
    ImpossibleTorqueError
        They are no torque at all: whoever made the bundle, it must not answer.

    """
    if not bool((np.abs(log_torque) <= _MOST_LOG).all()):
        msg = "the bundle gives torque that no engine makes; train it again or copy it again"
        raise ImpossibleTorqueError(msg)
    return log_torque


class BuildCurves(NamedTuple):
    """Curves of many builds, without limits.

    Attributes
    ----------
    speeds
        The grid of engine speeds, rev/min.
    log_torque
        Logarithm of lb-ft per cubic inch of charge, shape (builds, grid).
    size
        Charge of each, in³, shape (builds,).
    """

    speeds: Floats
    log_torque: Floats
    size: Floats

    def torque(self, rpm: Floats) -> Floats:
        """Return torque at engine speeds, lb-ft, shape (builds, engine speeds)."""
        torque: Floats = np.exp(self.log_torque @ smooth_curves.reader_of(self.speeds, rpm).T)
        return torque * self.size[:, None]


def curves_of(model: Model, builds: pd.DataFrame, ready: Ready | None = None) -> BuildCurves:
    """Return the curves of many builds in one batch, without limits or standing.

    With ``ready`` they are builds of the engine that it is of.
    """
    known = None if ready is None else ready.known
    table = known_sheets.features_of(model, builds, [known] * len(builds))
    size, start = np.asarray(charge(table)), start_curves(model, table)
    if not model.own_dyno and (ready is None or ready.told is None):
        return BuildCurves(model.speeds, possible(start), size)
    ready = ready or Engines(model).ready(builds.iloc[[0]], [None])[1][0]
    labels = np.tile(ready.labels, (len(builds), 1))
    places = ready.process.inputs.places(table)
    ahead = effect_points.Ahead(ready.process, places, labels, start, model.speeds)
    return BuildCurves(model.speeds, possible(ahead.curves()), size)
