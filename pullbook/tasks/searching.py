"""A free search, and the best build beside the build as it is, close enough together to draw."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.choices.search_result import Search
    from pullbook.model.comparison.difference import Difference
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.on_request import Load
    from pullbook.tasks.questions import Asked

#: Step of the curves that are drawn, rev/min.
_DRAWN = 50.0


def search(
    predictor: Predictor,
    asked: Asked,
    free: Sequence[str],
    goal: str,
    level: float,
    loads: Sequence[Load] = (),
    cautions: Sequence[str] = (),
) -> Search:
    """Return the best of what was tested, for one build.

    Parameters
    ----------
    predictor
        What answers.
    asked
        The one build, as `questions.ask` returns it.
    free
        What may change: ``camshaft``, ``field`` or ``field=low:high``.
    goal
        What it is for: ``mean_torque=2000:4500``, ``torque=3000``.
    level
        Level of the limits.
    loads
        What torque must clear besides.
    cautions
        What should not be exceeded: ``octane=87``.

    Raises
    ------
    InputError
        The goal is none, fields cannot be free, or nothing of it was tested.

    """
    from pullbook.pipeline.builds.parts import goal_of
    from pullbook.pipeline.loads import ceilings
    from pullbook.tasks import questions

    (base,), (code,), (start,) = questions.must_be_sound(asked)
    wanted = goal_of(goal)._replace(loads=tuple(loads), ceilings=ceilings.read(cautions))
    return predictor.search(base, free, wanted, level, code, start)


def best_and_own(
    predictor: Predictor, found: Search
) -> tuple[list[Prediction], Sequence[Difference]]:
    """Return the best build and the build as it is, and their difference over the goal's band."""
    from pullbook.model.range.tested_speeds import speeds_of

    builds = [found.best.found, found.base.found]
    first, *_, last = found.best.found.speeds.tolist()
    every = speeds_of(first, last, _DRAWN)
    tested = every[builds[0].supported(every) | builds[1].supported(every)]
    fine = every[(tested[0] <= every) & (every <= tested[-1])] if len(tested) else every
    return builds, predictor.compare(builds, found.band, found.level, fine).differences
