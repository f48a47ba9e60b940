"""Searching the tested range: which cam, which sizes, for a goal, with what goes along moving too.

Builds are drawn evenly over the free fields, then ever closer to the best found so far, then step
by step around it. What is outside the data is never recommended. Drawn by a Sobol sequence (Sobol
1967; from `scipy.stats.qmc`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.stats import qmc

from pullbook.model.choices import goals
from pullbook.model.choices.search_result import Found, Search, Slope, Worth
from pullbook.model.prediction.cautions import cautions
from pullbook.model.prediction.over_band import ENOUGH, share_tested, tested_part
from pullbook.model.range.tested_speeds import DEFAULT_RPM, speeds_of
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.builds.free_fields import Followers, Free, FreeFieldsError, free_fields
from pullbook.schemas.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.builds.parts import Goal
    from pullbook.pipeline.values.sheet import Build

    Predict = Callable[[Sequence[Build]], list[Prediction]]
    Values = Mapping[str, float | str]

_FIRST, _CLOSER, _ROUNDS, _NEAR = 256, 96, 3, 4
#: The name of the build that is found.
BEST = "the best found"
#: How much closer each round draws, as a share of the range.
_SHRINK = 0.4
#: Values of one field at which it is asked what the field is worth.
_PROFILE = 9
_ALTERNATIVES = 4
#: What a field is worth is asked at this share of its range from the best value.
_WELL_APART = 0.12
#: Alternatives differ from one another by this share of the ranges at least.
_APART = 0.15


def search(
    model: Model,
    base: Build,
    names: Sequence[str],
    goal: Goal,
    level: float,
    predict: Predict,
    seed: int = 1,
) -> Search:
    """Return the best build for a goal over the free fields, and what each is worth.

    Parameters
    ----------
    model
        The model, whose tested builds give ranges and say what moves along.
    base
        The build whose fields are free.
    names
        The fields, as `free_fields` takes them.
    goal, level
        The goal, and the level of the limits.
    predict
        Returns the predictions of builds.
    seed
        Seed of the draws.

    Raises
    ------
    FreeFieldsError
        Such fields cannot be free, no build of the range was tested at the speeds of the goal, or
        all are outside the data.

    """
    free, pairs = free_fields(names, model.fields), model.pairs
    (start,) = predict([base])
    if share_tested(start, goal.band) >= ENOUGH:
        goal = goal.over(tested_part([start], goal.band))
    look = _Look(base, free, goal, level, Followers(free, model.fields), predict)
    (own,) = look.of_builds([(base, {})])
    draws = qmc.Sobol(len(free), seed=seed)
    look.at(draws.random(_FIRST))
    width = 1.0
    for _ in range(_ROUNDS):
        width *= _SHRINK
        centres = [look.shares(one) for one in look.ranked()[:_NEAR]]
        if not centres:
            break
        moves = (draws.random(_CLOSER // len(centres)) - 0.5) * width
        look.at(np.clip(np.concatenate([one + moves for one in centres]), 0.0, 1.0))
    if not look.ranked():
        msg = "no build of this range was tested at the speeds of the goal, or all are outside the"
        msg = f"{msg} data; give other speeds or a narrower range"
        raise FreeFieldsError(msg)
    best = _step_by_step(look)
    worth = [_worth(look, best, at, pairs) for at in range(len(free))]
    while look.ranked()[0] is not best:  # asking what a field is worth has found a better one
        best = _step_by_step(look)
        worth = [_worth(look, best, at, pairs) for at in range(len(free))]
    clears = best.reached.clears
    others = [_beside(one, best, goal, pairs, level) for one in look.ranked()[1:]
              if one.reached.clears and clears]  # fmt: skip
    short = _higher([one for one in look.ranked() if not one.reached.clears], best)
    high = [one for one in look.looked if one.found.standing is Standing.OUTSIDE]
    called = replace(
        _cautioned(best, goal),
        build=replace(best.build, sheet_id=BEST),
        found=replace(best.found, sheet_id=BEST),
    )
    alike = [_cautioned(one, goal) for one in _unlike(look, best, others)]
    return Search(
        goal, level, tuple(free), _beside(own, best, goal, pairs, level), called, alike,
        worth if clears else [], short if clears else None, _higher(high, best), len(look.looked),
    )  # fmt: skip


def _cautioned(one: Found, goal: Goal) -> Found:
    return replace(
        one, cautions=cautions(one.build, one.found, goal.ceilings, speeds_of(*DEFAULT_RPM))
    )


def _higher(some: Sequence[Found], best: Found) -> Found | None:
    """Return the highest of some builds, if it comes out higher than the best."""
    top = max(some, key=lambda one: one.reached.value.value, default=best)
    return top if top.reached.value.value > best.reached.value.value else None


class _Look:
    """The builds that were looked at, each once."""

    def __init__(
        self,
        base: Build,
        free: Sequence[Free],
        goal: Goal,
        level: float,
        followers: Followers,
        predict: Predict,
    ) -> None:
        self.base, self.free, self.goal, self.level = base, free, goal, level
        self._followers, self._predict = followers, predict
        self.by_values: dict[tuple[float | str, ...], Found | None] = {}

    @property
    def looked(self) -> list[Found]:
        """All that could be predicted."""
        return [one for one in self.by_values.values() if one is not None]

    def ranked(self) -> list[Found]:
        """Return what may be recommended, the best first; then what does not clear a load."""
        kept = [one for one in self.looked
                if one.found.standing is not Standing.OUTSIDE and one.reached.enough]  # fmt: skip
        return sorted(kept, key=_rank)

    def shares(self, one: Found) -> Floats:
        """Return where the free fields of a build are in their ranges."""
        return np.array([free.share(one.values[free.name]) for free in self.free])

    def at(self, shares: Floats) -> list[Found]:
        """Look at builds by where their values are in the ranges, shape (builds, fields)."""
        keys = [tuple(f.at(float(s)) for f, s in zip(self.free, row, strict=True))
                for row in shares]  # fmt: skip
        new = [key for key in dict.fromkeys(keys) if key not in self.by_values]
        made = [self._made(key) for key in new]
        self.by_values |= {key: None for key, _, build in made if build.fault is not None}
        sound = [one for one in made if one[2].fault is None]
        found = self.of_builds([(build, values) for _, values, build in sound])
        self.by_values |= {key: one for (key, _, _), one in zip(sound, found, strict=True)}
        return [one for key in dict.fromkeys(keys) if (one := self.by_values[key]) is not None]

    def _made(
        self, key: tuple[float | str, ...]
    ) -> tuple[tuple[float | str, ...], dict[str, Any], Build]:
        own = {free.name: value for free, value in zip(self.free, key, strict=True)}
        along = self._followers.moved(self.base.values, own)
        values = {**own, **along}
        name = ", ".join(f"{n} {v}" for n, v in own.items())
        return key, values, build_files.changed(self.base, name, values)

    def of_builds(self, builds: Sequence[tuple[Build, Mapping[str, Any]]]) -> list[Found]:
        """Predict builds, each with its values."""
        if not builds:
            return []
        names = tuple(free.name for free in self.free)
        return [
            Found(values, names, build, one, goals.reached(self.goal, one, self.level))
            for (build, values), one in zip(
                builds, self._predict([build for build, _ in builds]), strict=True
            )
        ]


def _rank(one: Found) -> tuple[bool, float]:
    """Return a rank: by the goal, and after that of what clears no load by what it falls short."""
    clears = one.reached.clears
    return not clears, -(one.reached.value.value if clears else one.reached.room)


def _step_by_step(look: _Look) -> Found:
    """Return the best build that no step of one field betters."""
    while True:
        best = look.ranked()[0]
        here = look.shares(best)
        steps = []
        for at, free in enumerate(look.free):
            width = 1.0 / len(free.choices) if free.choices else free.step / (free.high - free.low)
            for many in (-3, -1, 1, 3):
                moved = here.copy()
                moved[at] = min(max(here[at] + many * width, 0.0), 1.0)
                steps.append(moved)
        look.at(np.array(steps))
        if look.ranked()[0] is best:
            return best


def _worth(look: _Look, best: Found, at: int, pairs: Mapping[str, PairScores]) -> Worth:
    """Return what a field is worth around the best build."""
    free = look.free[at]
    here = look.shares(best)
    count = len(free.choices) or _PROFILE
    places = (np.arange(count) + 0.5) / count if free.choices else np.linspace(0, 1, count)
    rows = np.repeat(here[None], len(places), axis=0)
    rows[:, at] = places
    line = [
        one
        for one in look.at(rows)
        if one.reached.enough and one.found.standing is not Standing.OUTSIDE
    ]
    good = [one for one in line if one is best or _as_good(one, best, look.goal, pairs, look.level)]
    values = [one.values[free.name] for one in (*good, best)]
    own = best.values[free.name]
    if free.choices:
        return Worth(free, own, None, None, tuple(dict.fromkeys(values)), at_end=False)
    below, above = (
        _slope([one for one in line if (one.values[free.name] - own) * side > 0], best, free)
        for side in (-1, 1)
    )
    good_range = (min(values), max(values))
    return Worth(free, own, below, above, good_range, at_end=below is None or above is None)


def _slope(side: list[Found], best: Found, free: Free) -> Slope | None:
    """Return the gain for each unit between the best build and what lies on one side of it.

    What is closer than `_WELL_APART` is left out: the model's steps would show more there than
    what the field is worth.
    """
    gains = {
        float(one.values[free.name]): one.reached.value.value - best.reached.value.value
        for one in side
    }
    own = float(best.values[free.name])
    far = [at for at in gains if abs(at - own) >= _WELL_APART * (free.high - free.low)]
    if not far:
        return None
    near, end = min(far, key=lambda at: abs(at - own)), max(far, key=lambda at: abs(at - own))
    return Slope(end, gains[end] / (end - own), gains[near] / (near - own))


def _beside(
    one: Found, best: Found, goal: Goal, pairs: Mapping[str, PairScores], level: float
) -> Found:
    """Return a build with what it reaches less than the best."""
    less, chance = goals.less(goal, one.found, best.found, best.reached, pairs, level)
    return replace(one, less=less, chance=chance)


def _as_good(
    one: Found, best: Found, goal: Goal, pairs: Mapping[str, PairScores], level: float
) -> bool:
    if one.reached.clears is not best.reached.clears:
        return False
    less, _ = goals.less(goal, one.found, best.found, best.reached, pairs, level)
    return less.low is not None and less.low <= 0


def _unlike(look: _Look, best: Found, others: list[Found]) -> list[Found]:
    """Return builds not clearly worse than the best, and unlike it and one another."""
    kept: list[Found] = []
    for one in others:
        clear = one.less is None or one.less.low is None or one.less.low > 0
        apart = [np.abs(look.shares(one) - look.shares(other)).max() for other in (best, *kept)]
        if not clear and min(apart) >= _APART and one.values != best.values:
            kept.append(one)
        if len(kept) == _ALTERNATIVES:
            break
    return kept
