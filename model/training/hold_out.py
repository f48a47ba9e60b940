"""Held-out predictions: curves of sheets from models that were fitted without them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from sklearn.model_selection import GroupKFold

from pullbook.model.learning import gaussian_process, smooth_curves
from pullbook.model.learning.curve_model import (
    HeldOutCurves,
    fit_curve,
    fit_trees,
    gain_of,
    on_grid,
)
from pullbook.model.learning.gaussian_process import SCATTERS
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import pandas as pd

    from pullbook.model.learning.curve_model import Blend
    from pullbook.model.learning.sample import Floats, Ints, Sample
    from pullbook.model.learning.settings import Settings
    from pullbook.pipeline.parallel.workers import Crew

    Track = Callable[[Iterable[Any]], Iterable[Any]]


def folds(groups: Ints, wanted: int) -> Ints:
    """Return the fold of each sheet; sheets of one group share it, and folds are of similar size.

    Parameters
    ----------
    groups
        Number of the group of each sheet.
    wanted
        Number of folds; fewer if there are fewer groups.

    Raises
    ------
    InputError
        There is only one group, so none can be held out.

    """
    count = min(wanted, len(np.unique(groups)))
    if count < 2:
        msg = "there is only one group; two or more are needed to hold one out"
        raise InputError(msg)
    fold = np.zeros(len(groups), dtype=np.int64)
    splits = GroupKFold(n_splits=count).split(groups, groups=groups)
    for number, (_, held) in enumerate(splits):
        fold[held] = number
    return fold


def predict_held_out(
    sample: Sample,
    fold: Ints,
    speeds: Floats,
    settings: Settings,
    workers: Crew,
    track: Track,
    *others: pd.DataFrame,
) -> list[HeldOutCurves]:
    """Return the curves of every sheet from trees and processes fitted without its fold.

    Parameters
    ----------
    sample
        The sheets.
    fold
        The fold of each sheet.
    speeds
        The grid of engine speeds.
    settings
        Settings of the training run.
    workers
        Threads, processes or a cluster that work on the folds.
    track
        Wraps the loop over folds to show progress.
    others
        Further tables of features of the same sheets to predict from.

    Returns
    -------
    One for the sample's table and one for each further table.

    """
    tables = (sample.table, *others)
    shape = (len(sample), len(speeds))
    held = [HeldOutCurves(np.zeros(shape), np.zeros((len(SCATTERS), *shape))) for _ in tables]

    def fit_fold(number: int) -> list[HeldOutCurves]:
        out = fold == number
        inner = sample.part(~out)
        trees = fit_trees(inner, settings)
        gain = gain_of(trees, inner)
        processes = gaussian_process.fit(inner, gain, SCATTERS, settings.seed)
        return [
            HeldOutCurves(
                on_grid(trees, speeds, table[out]),
                np.array([fitted.curves(table[out], speeds) for fitted in processes]),
            )
            for table in tables
        ]

    numbers = range(int(fold.max()) + 1)
    for number, of_fold in enumerate(track(workers.each(fit_fold, numbers))):
        out = fold == number
        for whole, part in zip(held, of_fold, strict=True):
            whole.trees[out] = part.trees
            whole.processes[:, out] = part.processes
    return held


def curves(
    sample: Sample,
    fold: Ints,
    speeds: Floats,
    settings: Settings,
    blend: Blend,
    workers: Crew,
    track: Track,
) -> Floats:
    """Return the curve of every sheet from a blend fitted without its fold.

    Parameters as for `predict_held_out`; shape (sheets, points of the grid).
    """
    held = np.zeros((len(sample), len(speeds)))

    def fit_fold(number: int) -> Floats:
        inner = sample.part(fold != number)
        trees = fit_trees(inner, settings)
        fitted = fit_curve(inner, trees, speeds, settings, blend)
        return fitted.curves(sample.table[fold == number])

    for number, part in enumerate(track(workers.each(fit_fold, range(int(fold.max()) + 1)))):
        held[fold == number] = part
    return held


def residuals(sample: Sample, curves_: Floats, speeds: Floats) -> Floats:
    """Return measured minus predicted of every reading, on the logarithmic scale."""
    predicted = smooth_curves.at(curves_, speeds, sample.sheet, sample.rpm)
    return sample.target - predicted
