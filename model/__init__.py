"""The model: what it learns, what it says, and how sure it is.

For use from Python: `Predictor` gives every answer of a bundle, `builds` reads what is asked about,
and `CurveRegressor` is a scikit-learn estimator of a curve.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pullbook.model.answers.predictor import Predictor, builds
    from pullbook.model.scikit_learn.curve_regressor import CurveRegressor

__all__ = ["CurveRegressor", "Predictor", "builds"]

_HOMES = {
    "CurveRegressor": "pullbook.model.scikit_learn.curve_regressor",
    "Predictor": "pullbook.model.answers.predictor",
    "builds": "pullbook.model.answers.predictor",
}


def __getattr__(name: str) -> Any:
    """Return one of `__all__`; loaded when it is asked for, as importing the package loads nothing.

    Raises
    ------
    AttributeError
        There is no such name.

    """
    if name not in _HOMES:
        msg = f"module 'model' has no attribute {name!r}"
        raise AttributeError(msg)
    from importlib import import_module  # noqa: PLC0415

    return getattr(import_module(_HOMES[name]), name)
