"""Builds as one and the same engine with other parts, none of which was measured.

What two such builds make differs by their parts alone: whatever else the engine is, and the dyno
that it is run on, is the same for both. So their difference is surer than that of two engines.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.learning.effect_points import Ahead, KnownLabels
from pullbook.model.learning.smooth_curves import reader_of

if TYPE_CHECKING:
    import pandas as pd

    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.trained.trained_model import Model


class OneEngine:
    """The engine that builds are of: what was asked first says which shop and family it is of."""

    def __init__(self, model: Model) -> None:
        """Take the model that is asked."""
        self._model = model
        self._labels: Ints | None = None

    def with_parts(self, builds: pd.DataFrame, table: pd.DataFrame, start: Floats) -> list[Parts]:
        """Return the engine with the parts of each of some builds.

        Parameters
        ----------
        builds
            The typed builds, with the code of the shop where it is known.
        table
            Their features.
        start
            Their starting curves on the grid, shape (builds, speeds).

        """
        model = self._model
        if self._labels is None:
            self._labels = KnownLabels(model.fields).of(builds.iloc[[0]])[0]
        labels = np.tile(self._labels, (len(builds), 1))
        ahead = Ahead(
            model.effects, model.effects.inputs.places(table), labels, start, model.speeds
        )
        lot = _Lot(ahead, model.speeds, self)
        return [Parts(lot, row) for row in range(len(builds))]


class _Lot:
    """Builds that were asked at once."""

    def __init__(self, ahead: Ahead, speeds: Floats, engine: OneEngine) -> None:
        self.ahead, self.speeds, self.engine = ahead, speeds, engine
        self._spread: Floats | None = None

    def spread(self, row: int) -> Floats:
        if self._spread is None:
            self._spread = self.ahead.spread()
        found: Floats = self._spread[row]
        return found


class Parts:
    """One engine with the parts of one build."""

    def __init__(self, lot: _Lot, row: int) -> None:
        self._lot, self._row = lot, row

    def of_one_engine(self, other: Parts) -> bool:
        """Return whether both are the same engine."""
        return self._lot.engine is other._lot.engine

    def width(self, rpm: Floats) -> Floats:
        """Return the expected relative error at engine speeds."""
        width: Floats = reader_of(self._lot.speeds, rpm) @ self._lot.spread(self._row)
        return width

    def correlation(self, other: Parts, rpm: Floats) -> Floats:
        """Return the correlation of the errors of the engine with these and with other parts."""
        found = self._lot.ahead.correlation(self._row, other._lot.ahead, other._row)
        correlation: Floats = reader_of(self._lot.speeds, rpm) @ found
        return correlation

    def correlations(self, others: list[Parts], rpm: float) -> Floats:
        """Return the correlations of the errors with the parts of some builds, asked at once."""
        return self._lot.ahead.correlations(np.array([one._row for one in others]), rpm)
