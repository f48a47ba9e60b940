"""The chance that each of several builds makes the most, from how errors of builds go together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from model.prediction import BAND_POINTS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from model.conformal import Scores
    from model.pairs import PairScores
    from model.prediction import Prediction
    from model.sample import Floats

_DRAWS = 4000
#: Builds that can be the best: more are not drawn for.
_CONTENDERS = 250
#: The level whose limits say how wide the normal law is that errors are drawn from.
_LEVEL = 0.8


def means(builds: Sequence[Prediction], band: tuple[float, float]) -> tuple[Floats, Floats]:
    """Return mean torque over a band and its expected error, lb-ft, shape (builds,) each."""
    rpm = np.linspace(*band, BAND_POINTS)
    torque = np.array([one.torque(rpm) for one in builds])
    width = np.array([one.width(rpm) for one in builds])
    return torque.mean(axis=1), (torque * width).mean(axis=1)


def chances(
    value: Floats,
    expected: Floats,
    places: Floats,
    scores: PairScores,
    law: Scores,
    seed: int,
) -> Floats | None:
    """Return the chance that each build has the highest value; they sum to one.

    Errors are drawn from a normal law: those of like builds go together as the pairs of the data
    did, and differences spread as theirs.

    Parameters
    ----------
    value, expected
        What each makes and how far it is expected to be off, in one unit, shape (builds,).
    places
        The builds as points, by `novelty.Reference`, shape (builds, coordinates).
    scores
        Of pairs, as the model holds them.
    law
        Those of them that the value goes by: at one speed, or of a mean.
    seed
        Of the draws.

    Returns
    -------
    ``None`` where the shops are too few to say.

    """
    factor = law.threshold(_LEVEL)
    if factor is None:
        return None
    chance = np.zeros(len(value))
    top = np.argsort(-(value + 3 * expected), kind="stable")[:_CONTENDERS]
    squares = np.square(places[top]).sum(axis=1)
    apart = squares[:, None] + squares[None] - 2 * places[top] @ places[top].T
    together = scores.likeness * np.exp(-np.sqrt(np.maximum(apart, 0.0)) / scores.reach)
    np.fill_diagonal(together, 1.0)
    scale = factor / float(ndtri((1 + _LEVEL) / 2)) * expected[top]
    root = np.linalg.cholesky(together + 1e-9 * np.eye(len(top)))
    drawn = np.random.default_rng(seed).normal(size=(_DRAWS, len(top))) @ root.T
    first = np.argmax(value[top] + drawn * scale, axis=1)
    chance[top] = np.bincount(first, minlength=len(top)) / _DRAWS
    return chance
