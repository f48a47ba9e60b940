"""Holding out: what the model says of sheets it has not learned from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from sklearn.model_selection import GroupKFold

from model import parallel, process, smooth
from model.curve import Said, fit_curve, fit_trees, gain_of, on_grid
from model.process import SCATTERS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import pandas as pd

    from model.curve import Blend
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


def said(
    sample: Sample,
    fold: Ints,
    speeds: Floats,
    settings: Settings,
    track: Track,
    *others: pd.DataFrame,
) -> list[Said]:
    """Return what trees and processes say of every sheet that were fitted without its fold.

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
    For the sample's table and each further one.

    """
    tables = (sample.table, *others)
    shape = (len(sample), len(speeds))
    held = [Said(np.zeros(shape), np.zeros((len(SCATTERS), *shape))) for _ in tables]

    def fill(number: int) -> None:
        out = fold == number
        inner = sample.part(~out)
        trees = fit_trees(inner, settings)
        gain = gain_of(trees, inner)
        processes = process.fit(inner, gain, SCATTERS, settings.seed)
        for one, table in zip(held, tables, strict=True):
            one.trees[out] = on_grid(trees, speeds, table[out])
            for place, fitted in enumerate(processes):
                one.processes[place, out] = fitted.curves(table[out], speeds)

    parallel.parts(fill, int(fold.max()) + 1, track)
    return held


def curves(
    sample: Sample, fold: Ints, speeds: Floats, settings: Settings, blend: Blend, track: Track
) -> Floats:
    """Return the curve of every sheet from a blend that was fitted without its fold.

    Parameters as for `said`; shape (sheets, points of the grid).
    """
    held = np.zeros((len(sample), len(speeds)))

    def fill(number: int) -> None:
        out = fold == number
        inner = sample.part(~out)
        trees = fit_trees(inner, settings)
        held[out] = fit_curve(inner, trees, speeds, settings, blend).curves(sample.table[out])

    parallel.parts(fill, int(fold.max()) + 1, track)
    return held


def residuals(sample: Sample, curves_: Floats, speeds: Floats) -> Floats:
    """Return measured less predicted of every reading, on the logarithmic scale."""
    predicted = smooth.at(curves_, speeds, sample.sheet, sample.rpm)
    return sample.target - predicted
