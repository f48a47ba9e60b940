"""Which engine to test next: the candidates that would narrow the limits of some builds most.

The process gives the covariance of builds, and the sheets already known reduce it. Testing a
candidate reduces the variance of a build by the square of their remaining covariance over the
candidate's own variance (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, eq.
2.24). Several candidates are chosen one after the other, each with the earlier ones as known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.linalg import cho_factor, cho_solve

from pullbook.model.learning import effect_points
from pullbook.model.learning.gaussian_process import SHEET_VARIANCE, SHOP_VARIANCE
from pullbook.model.trained.known_sheets import start_curves
from pullbook.pipeline.features import feature_table

if TYPE_CHECKING:
    from pullbook.model.learning.gaussian_process import Process
    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.trained.trained_model import Model

#: Number of sheets, those nearest to the builds, that are used as known.
_KNOWN = 3000
#: The shop of a build that is not to be tested.
NO_SHOP = -1


@dataclass(frozen=True, slots=True)
class Lesson:
    """How much testing one candidate would narrow the limits of the questions.

    Attributes
    ----------
    candidate
        Its position among the candidates.
    narrows
        The mean share by which it alone would narrow the limits of the questions.
    narrows_so_far
        The same for all candidates chosen up to it.
    most
        Position of the question whose limits it narrows most.
    """

    candidate: int
    narrows: float
    narrows_so_far: float
    most: int


def remaining_covariance(
    process: Process, known: pd.DataFrame, shop: Ints, builds: pd.DataFrame, by: Ints
) -> Floats:
    """Return the covariance of builds given the known sheets, shape (builds, builds).

    Parameters
    ----------
    process
        The process, which gives the covariance of builds.
    known, shop
        Features of the sheets, and the number of the shop of each.
    builds, by
        Features of the builds, and the number of the shop that would test each; the covariance
        includes the offset of that shop. For a build of `NO_SHOP` it is that of the build itself.

    """
    across = process.covariance(builds, known)
    near = np.argsort(-across.max(axis=0), kind="stable")[:_KNOWN]
    sheets, near_shop = known.iloc[near], shop[near]
    across = across[:, near] + SHOP_VARIANCE * (by[:, None] == near_shop)
    of_sheets = process.covariance(sheets, sheets)
    of_sheets += SHOP_VARIANCE * (near_shop[:, None] == near_shop)
    of_sheets[np.diag_indices(len(of_sheets))] += SHEET_VARIANCE
    same_shop = (by[:, None] == by) & (by != NO_SHOP)
    joint: Floats = process.covariance(builds, builds) + SHOP_VARIANCE * same_shop
    joint -= across @ cho_solve(cho_factor(of_sheets), across.T)
    return joint


def joint_covariance(model: Model, questions: pd.DataFrame, candidates: pd.DataFrame) -> Floats:
    """Return the covariance of questions, then candidates, all of these tested by one new shop.

    Parameters
    ----------
    model
        The model.
    questions, candidates
        Typed builds.

    """
    builds = pd.concat([questions, candidates])
    if model.own_dyno or model.curve is None:
        return _by_effects(model, builds)
    known = feature_table.make(model.fields, model.filling)
    shop = model.reference.shop
    by = np.r_[np.full(len(questions), NO_SHOP), np.full(len(candidates), shop.max() + 1)]
    table = feature_table.make(builds, model.filling)
    return remaining_covariance(model.curve.process, known, shop, table, by)


def _by_effects(model: Model, builds: pd.DataFrame) -> Floats:
    """Return the covariance of builds that are tested next, by the effects, shape (builds, builds).

    It is that of the logarithm of torque in the middle of the engine speeds, all on one dyno.
    """
    labels = effect_points.KnownLabels(model.fields).of(
        builds.assign(shop=model.shop_codes[0], engine=None)
    )
    table = feature_table.make(builds, model.filling)
    middle = slice(len(model.speeds) // 2, len(model.speeds) // 2 + 1)
    points = effect_points.points_of(
        model.effects.inputs.places(table), labels, start_curves(model, table)[:, middle],
        model.speeds[middle],
    )  # fmt: skip
    known = model.effects.posterior(points)
    joint: Floats = model.effects.covariance(known, known, same=False)
    return joint


def choose_candidates(joint: Floats, questions: int, most: int) -> list[Lesson]:
    """Return the candidates that would narrow the limits of the questions most, the best first.

    Parameters
    ----------
    joint
        Covariance of the questions, then of the candidates, from `remaining_covariance`.
    questions
        Number of questions.
    most
        Number of candidates to choose.

    """
    start = _widths(np.diag(joint)[:questions])
    alone = 1 - _widths(_variances_after(joint, questions)) / start[:, None]
    found: list[Lesson] = []
    candidates = list(range(len(joint) - questions))
    while candidates and len(found) < most:
        narrowing = 1 - _widths(_variances_after(joint, questions)) / start[:, None]
        best = candidates.pop(int(np.argmax(narrowing.mean(axis=0)[candidates])))
        joint = _covariance_after(joint, questions + best)
        so_far = 1 - _widths(np.diag(joint)[:questions]) / start
        found.append(
            Lesson(
                candidate=best,
                narrows=float(alone[:, best].mean()),
                narrows_so_far=float(so_far.mean()),
                most=int(np.argmax(alone[:, best])),
            )
        )
    return found


def _widths(variance: Floats) -> Floats:
    """Return widths of limits: the variance of the build, and that which no model removes."""
    width: Floats = np.sqrt(np.maximum(variance, 0.0) + SHEET_VARIANCE + SHOP_VARIANCE)
    return width


def _variances_after(joint: Floats, questions: int) -> Floats:
    """Return the variance of each question after each test, shape (questions, candidates)."""
    variance = np.diag(joint)
    shared = joint[:questions, questions:]
    reduced: Floats = variance[:questions, None] - shared**2 / (
        variance[questions:] + SHEET_VARIANCE
    )
    return reduced


def _covariance_after(joint: Floats, tested: int) -> Floats:
    """Return the covariance after the test of one of the builds."""
    column = joint[:, tested]
    reduced: Floats = joint - np.outer(column, column) / (joint[tested, tested] + SHEET_VARIANCE)
    return reduced
