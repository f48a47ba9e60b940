"""Boosted trees: LightGBM, fitted reproducibly and stored as its own plain text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pullbook.model.learning import tree_text
from pullbook.pipeline.parallel import workers
from pullbook.schemas.errors import PullbookError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.settings import Settings

    Floats = NDArray[np.float64]

_FIXED = {
    "verbosity": -1,
    "deterministic": True,
    "force_row_wise": True,
    "bagging_freq": 1,
    "bagging_fraction": 0.7,
    "lambda_l2": 3.0,
}


class MissingLibraryError(PullbookError):
    """LightGBM is installed but cannot start."""


def library() -> Any:
    """Return the module lightgbm.

    Raises
    ------
    MissingLibraryError
        Its native part cannot be loaded; the message names the package to install.

    """
    try:
        import lightgbm  # noqa: PLC0415 - a second to import; only some commands need it
    except OSError as fault:
        msg = (
            f"LightGBM cannot start ({fault}). It needs the OpenMP library: install libgomp1"
            " (Debian, Ubuntu), libgomp (Fedora) or libomp (Homebrew) and try again"
        )
        raise MissingLibraryError(msg) from fault
    return lightgbm


def fit(
    matrix: Floats,
    target: Floats,
    weight: Floats,
    names: Sequence[str],
    settings: Settings,
    *,
    spread: bool = False,
) -> str:
    """Fit trees and return them as LightGBM's text, reduced to what prediction needs.

    Parameters
    ----------
    matrix
        Shape (readings, columns).
    target
        Shape (readings,). With ``spread`` it must be positive.
    weight
        Shape (readings,).
    names
        Names of the columns.
    settings
        Settings of the training run.
    spread
        Whether to fit the mean of a positive target on a logarithmic scale (gamma deviance) with
        few, large leaves; otherwise least squares.

    """
    lightgbm = library()
    rows = len(target)
    smallest = max(5, min(settings.leaf_readings, rows // 40))
    parameters = {
        **_FIXED,
        "num_threads": workers.threads(),
        "objective": "gamma" if spread else "regression",
        "learning_rate": settings.learning_rate,
        "num_leaves": settings.leaves,
        "min_data_in_leaf": smallest * 5 if spread else smallest,
        "feature_fraction": settings.feature_share,
        "seed": settings.seed,
    }
    data = lightgbm.Dataset(matrix, target, weight=weight, feature_name=list(names))
    rounds = settings.spread_rounds if spread else settings.rounds
    return tree_text.bare(lightgbm.train(parameters, data, rounds).model_to_string())


class Trees:
    """Fitted trees, ready to predict."""

    def __init__(self, text: str) -> None:
        """Take LightGBM's text; check one of unknown origin with `tree_text.check` first."""
        self.text = text
        self._booster = library().Booster(model_str=text)

    def predict(self, matrix: Floats) -> Floats:
        """Return the prediction of each row, shape (readings,)."""
        predicted: Floats = self._booster.predict(matrix, num_threads=workers.threads())
        return predicted

    def gain(self) -> Floats:
        """Return the share of the gain due to each column, shape (columns,)."""
        gain = np.asarray(self._booster.feature_importance("gain"), dtype=float)
        return gain / gain.sum() if gain.sum() > 0 else np.full(len(gain), 1 / len(gain))
