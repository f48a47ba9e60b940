"""How the error on engines never seen falls with the number of one's own tests, and will fall.

Engines of the pile are held out in parts, and models are fitted to more and more of the others. The
squared error is a share that stays and one that falls as one over the number of tests; both are
fitted to what was found, and engines are drawn again and again to say how sure that is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.optimize import nnls

from pullbook.model.evaluation import rules_of_thumb
from pullbook.model.learning import smooth_curves
from pullbook.model.learning.sample import sample_of
from pullbook.model.prediction.predict import predict
from pullbook.model.training import hold_out
from pullbook.model.training.start_from import start_from
from pullbook.model.training.train_own import train_own
from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.parallel.workers import one_thread

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.learning.settings import Settings
    from pullbook.model.trained.trained_model import Model
    from pullbook.model.training.hold_out import Track
    from pullbook.pipeline.parallel.workers import Crew

#: Parts that the engines are held out in, and the shares of the others that are learned from.
_PARTS, _SHARES = 4, (0.25, 0.5, 1.0)
#: With more of the tests there are: for these multiples of their number it is said what is likely.
MORE = (1.5, 2.0)
#: Fewest engines for a curve.
FEWEST = 8
_DRAWS, _RANGE = 400, (0.1, 0.9)
RULES = ("mean_per_cubic_inch", "nearest_sheet")


@dataclass(frozen=True, slots=True)
class LearningCurve:
    """Errors on engines that were held out, root mean square in % of torque.

    Attributes
    ----------
    engines
        Number of engines, each of which was held out once.
    tests
        Number of tests learned from, rising.
    error
        Error of the model at each of those.
    rules
        Error of each rule of thumb with all of them, by name.
    ahead
        For more tests than there are: their number, the likely error, and the middle 8 tenths of
        what it comes to with the engines drawn anew.
    """

    engines: int
    tests: list[int]
    error: list[float]
    rules: dict[str, float]
    ahead: list[tuple[int, float, float, float]]

    def as_json(self) -> dict[str, Any]:
        """Return the curve as plain data."""
        return {
            "engines": self.engines,
            "tests": self.tests,
            "error": [round(one, 3) for one in self.error],
            "rules": {name: round(one, 3) for name, one in self.rules.items()},
            "ahead": [
                {"tests": tests, "error": round(middle, 3), "low": round(low, 3),
                 "high": round(high, 3)}
                for tests, middle, low, high in self.ahead
            ],
        }  # fmt: skip


def learning_curve(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    settings: Settings,
    start: Model | None,
    workers: Crew,
    track: Track = iter,
) -> LearningCurve | None:
    """Return the learning curve of the data of few shops; ``None`` with too few engines.

    Parameters
    ----------
    builds, pulls
        Curated tables.
    settings
        Settings of the training runs; limits are not needed.
    start
        Model to start from; ``None`` for none.
    workers
        Threads, processes or a cluster that work on the parts.
    track
        Wraps the loop over parts to show progress.

    """
    engine = engines_of(builds)
    count = len(np.unique(engine))
    if count < FEWEST:
        return None
    plain = replace(settings, folds=1)
    fold = hold_out.folds(engine, _PARTS)

    def work(number: int) -> tuple[Floats, Floats, Floats]:
        with one_thread():
            return _part(builds, pulls, engine, fold == number, plain, start)

    numbers = range(int(fold.max()) + 1)
    parts = list(track(workers.each(work, numbers)))
    tests, square, rules = (np.concatenate([one[at] for one in parts]) for at in range(3))
    sizes = tests.mean(axis=0)
    rng = np.random.default_rng(settings.seed)
    drawn = rng.integers(0, len(square), (_DRAWS, len(square)))
    more = np.array(MORE) * len(builds)
    middle = _ahead(sizes, square.mean(axis=0), more)
    spread = np.array([_ahead(sizes, square[rows].mean(axis=0), more) for rows in drawn])
    low, high = np.quantile(spread, _RANGE, axis=0)
    ahead = zip(more.tolist(), middle.tolist(), low.tolist(), high.tolist(), strict=True)
    return LearningCurve(
        engines=count,
        tests=[round(size) for size in sizes.tolist()],
        error=_percent(square.mean(axis=0)).tolist(),
        rules=dict(zip(RULES, _percent(rules.mean(axis=0)).tolist(), strict=True)),
        ahead=[(round(n), likely, least, most) for n, likely, least, most in ahead],
    )


def _part(
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    engine: Ints,
    out: np.ndarray,
    settings: Settings,
    start: Model | None,
) -> tuple[Floats, Floats, Floats]:
    """Return for each held-out engine the tests learned from, and squared errors.

    Shapes (engines, shares), (engines, shares) and (engines, rules).
    """
    outer = builds[out].reset_index(drop=True).assign(engine=None)
    outer = outer.astype({"engine": builds["engine"].dtype})
    outer_pulls = pulls[pulls["sheet_id"].isin(outer["sheet_id"])]
    own = np.unique(engine[out], return_inverse=True)[1]
    others = np.random.default_rng(settings.seed).permutation(np.unique(engine[~out]))
    tests, squares, rules = [], [], np.zeros((0, 0))
    for share in _SHARES:
        some = np.isin(engine, others[: max(2, round(share * len(others)))])
        inner = builds[some].reset_index(drop=True)
        inner_pulls = pulls[pulls["sheet_id"].isin(inner["sheet_id"])]
        begin = None if start is None else start_from(start, inner, inner_pulls)
        features = (
            feature_table.fit(inner)
            if begin is None
            else feature_table.filled(inner, begin.filling)
        )
        model = train_own(inner, inner_pulls, features, settings, begin, iter, feature_table.ALONE)
        sample = sample_of(outer, outer_pulls, feature_table.make(outer, model.filling))
        found = predict(model, outer, outer["shop"].tolist())
        predicted = np.array([one.log_torque for one in found])
        squares.append(_of_engines(sample, predicted, model.speeds, own))
        tests.append(len(inner))
        if share == _SHARES[-1]:
            known = sample_of(inner, inner_pulls, features.table)
            near = np.array([one.nearest[0] for one in found])
            mean = rules_of_thumb.mean_per_cubic_inch(known, model.speeds)
            curves = (
                np.tile(mean, (len(outer), 1)),
                rules_of_thumb.nearest_sheet(known, near, model.speeds),
            )
            rules = np.array([_of_engines(sample, one, model.speeds, own) for one in curves]).T
    return np.tile(tests, (own.max() + 1, 1)), np.array(squares).T, rules


def _of_engines(sample: Any, curves: Floats, speeds: Floats, engine: Ints) -> Floats:
    """Return the mean squared error of the sheets of each engine, on the logarithmic scale."""
    off = sample.target - smooth_curves.at(curves, speeds, sample.sheet, sample.rpm)
    of_sheet = np.bincount(sample.sheet, off**2) / np.bincount(sample.sheet)
    found: Floats = np.bincount(engine, of_sheet) / np.bincount(engine)
    return found


def _ahead(sizes: Floats, square: Floats, more: Floats) -> Floats:
    """Return the error with more tests, %, from squared errors at some numbers of tests."""
    terms = np.column_stack([np.ones(len(sizes)), 1 / sizes])
    (stays, falls), _ = nnls(terms, square)
    return _percent(stays + falls / more)


def _percent(square: Floats) -> Floats:
    root: Floats = 100 * np.sqrt(square)
    return root
