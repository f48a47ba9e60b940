"""Holding out: what the model says of sheets it has not learned from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from sklearn.model_selection import GroupKFold

from model import smooth
from model.curve import fit_curve

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import pandas as pd

    from model.sample import Floats, Ints, Sample
    from model.settings import Settings

    Track = Callable[[Iterable[int]], Iterable[int]]


def folds(groups: Ints, wanted: int) -> Ints:
    """Return the fold of each sheet; sheets of one group share it, and folds are about equal.

    Parameters
    ----------
    groups
        Number of the group of each sheet.
    wanted
        How many folds; fewer where there are fewer groups.

    Raises
    ------
    ValueError
        There is one group only: nothing can be held out.

    """
    count = min(wanted, len(np.unique(groups)))
    if count < 2:
        msg = "with one group only nothing can be held out"
        raise ValueError(msg)
    fold = np.zeros(len(groups), dtype=np.int64)
    splits = GroupKFold(n_splits=count).split(groups, groups=groups)
    for number, (_, held) in enumerate(splits):
        fold[held] = number
    return fold


def curves(
    sample: Sample,
    fold: Ints,
    speeds: Floats,
    settings: Settings,
    track: Track,
    *others: pd.DataFrame,
) -> list[Floats]:
    """Return the curve of every sheet from a model that was fitted without its fold.

    Parameters
    ----------
    sample
        The sheets.
    fold
        The fold of each sheet.
    speeds
        The grid of engine speeds.
    settings
        Of the training run.
    track
        Wraps the loop over folds to show progress.
    others
        Further tables of features of the same sheets to predict from.

    Returns
    -------
    For the sample's table and each further one, shape (sheets, points of the grid).

    """
    tables = (sample.table, *others)
    held = [np.zeros((len(sample), len(speeds))) for _ in tables]
    for number in track(range(int(fold.max()) + 1)):
        out = fold == number
        fitted = fit_curve(sample.part(~out), speeds, settings)
        for curves_, table in zip(held, tables, strict=True):
            curves_[out] = fitted.curves(table[out])
    return held


def residuals(sample: Sample, curves_: Floats, speeds: Floats) -> Floats:
    """Return measured less predicted of every reading, on the logarithmic scale."""
    predicted = smooth.at(curves_, speeds, sample.sheet, sample.rpm)
    return sample.target - predicted
