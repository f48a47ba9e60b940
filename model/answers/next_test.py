"""Which engine to run next: what would teach most about a set of questions.

The process tells how builds go together: a sheet of one says something of another by their
covariance, less what the sheets already there say. Running a candidate takes from the variance of a
question the square of what the two still share over the candidate's own (Rasmussen and Williams,
Gaussian Processes for Machine Learning, 2006, eq. 2.24). Several are chosen one after another, each
knowing those before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from pullbook.model.learning.gaussian_process import SHEET_VARIANCE, SHOP_VARIANCE

if TYPE_CHECKING:
    import pandas as pd

    from pullbook.model.learning.gaussian_process import Process
    from pullbook.model.learning.sample import Floats, Ints

#: Sheets that are taken to say something of the questions: those nearest to them.
_KNOWN = 3000
#: The shop of a build that is asked about and not run.
NOBODY = -1


@dataclass(frozen=True, slots=True)
class Lesson:
    """What running one candidate would teach.

    Attributes
    ----------
    candidate
        Its place among the candidates.
    narrows
        The share by which it alone would narrow the limits of the questions, on the mean.
    narrows_so_far
        The same of all that were chosen up to it.
    most
        Place of the question that it tells most of.
    """

    candidate: int
    narrows: float
    narrows_so_far: float
    most: int


def left(
    process: Process, known: pd.DataFrame, shop: Ints, asked: pd.DataFrame, by: Ints
) -> Floats:
    """Return the covariance of builds that is left once sheets are known, (builds, builds).

    Parameters
    ----------
    process
        How builds go together.
    known, shop
        Features of the sheets, and the number of the shop of each.
    asked, by
        Features of the builds, and the number of the shop that would run each: what is left is of
        its reading. A build of `NOBODY` is not run, and what is left is of the build itself.

    """
    across = process.covariance(asked, known)
    near = np.argsort(-across.max(axis=0), kind="stable")[:_KNOWN]
    sheets, own_shop = known.iloc[near], shop[near]
    across = across[:, near] + SHOP_VARIANCE * (by[:, None] == own_shop)
    own = process.covariance(sheets, sheets) + SHOP_VARIANCE * (own_shop[:, None] == own_shop)
    own[np.diag_indices(len(own))] += SHEET_VARIANCE
    among = (by[:, None] == by) & (by != NOBODY)
    joint: Floats = process.covariance(asked, asked) + SHOP_VARIANCE * among
    joint -= across @ cho_solve(cho_factor(own), across.T)
    return joint


def lessons(joint: Floats, questions: int, most: int) -> list[Lesson]:
    """Return the candidates that would teach most, the best first.

    Parameters
    ----------
    joint
        What is left of the covariance of the questions, then of the candidates, as `left` gives it.
    questions
        How many of the builds are questions.
    most
        How many candidates to choose.

    """
    start = _wide(np.diag(joint)[:questions])
    alone = 1 - _wide(_fall(joint, questions)) / start[:, None]
    found: list[Lesson] = []
    could = list(range(len(joint) - questions))
    while could and len(found) < most:
        narrowing = 1 - _wide(_fall(joint, questions)) / start[:, None]
        best = could.pop(int(np.argmax(narrowing.mean(axis=0)[could])))
        joint = _after(joint, questions + best)
        so_far = 1 - _wide(np.diag(joint)[:questions]) / start
        found.append(
            Lesson(
                candidate=best,
                narrows=float(alone[:, best].mean()),
                narrows_so_far=float(so_far.mean()),
                most=int(np.argmax(alone[:, best])),
            )
        )
    return found


def _wide(variance: Floats) -> Floats:
    """Return how wide limits are: what is not known of the build, and what no model can know."""
    wide: Floats = np.sqrt(np.maximum(variance, 0.0) + SHEET_VARIANCE + SHOP_VARIANCE)
    return wide


def _fall(joint: Floats, questions: int) -> Floats:
    """Return the variance of each question once each candidate was run, (questions, candidates)."""
    variance = np.diag(joint)
    shared = joint[:questions, questions:]
    fallen: Floats = variance[:questions, None] - shared**2 / (
        variance[questions:] + SHEET_VARIANCE
    )
    return fallen


def _after(joint: Floats, run: int) -> Floats:
    """Return the covariance once one of the builds was run."""
    column = joint[:, run]
    fallen: Floats = joint - np.outer(column, column) / (joint[run, run] + SHEET_VARIANCE)
    return fallen
