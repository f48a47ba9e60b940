"""The one way a view gets an answer: a build or a test by name, as the command line asks it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

import numpy as np

from pullbook.model.prediction.clearance import clearance
from pullbook.schemas.errors import InputError, did_you_mean
from pullbook.tasks import own_key, questions
from pullbook.view_parts import rendering
from pullbook.workspace import build_fields, saved_builds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.pulls import Pull
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Answer
    from pullbook.schemas.on_request import Load
    from pullbook.tasks.questions import Asked
    from pullbook.view_parts.rendering import Desk
    from pullbook.workspace.measured_tests import Test

#: Engine speeds of an answer's curve: close enough together to draw and to read off.
_DRAWN = 50.0
_TABLE, _BEYOND = 250.0, 400.0
#: So many names are in a page to pick from; of more of them, those that fit what is typed.
_LISTED, _SUGGESTED = 50, 30


class NotFoundError(InputError):
    """A name that is no build and no test, or of several."""


@dataclass(frozen=True, slots=True)
class Named:
    """A build or a measured test that a view asks about, and its pull if it has one."""

    build: Build
    pull: Pull | None = None


def find(desk: Desk, name: str, query: str) -> Named:
    """Return what a name stands for: fields in an address, a saved build or a test.

    Raises
    ------
    NotFoundError
        There is none, or there are several.

    """
    if query:
        given = dict(parse_qsl(query))
        build = build_fields.build_of(given, rendering.units_of(given))
        if not name or build.sheet_id == name:
            return Named(measured_on(desk, build, given.get("start", "")))
    for saved in saved_builds.builds(desk.folder):
        if saved.build.sheet_id == name:
            return Named(saved.build)
    tests = desk.reading
    found = tests.named(name) or [one for one in tests.tests.values() if one.code == name]
    if len(found) > 1:
        msg = f"{len(found)} tests are called {name}. Give each its own name"
        raise NotFoundError(msg)
    if found:
        return Named(found[0].sheet, found[0].pull if found[0].sheet.accepted else None)
    known = [*(one.build.sheet_id for one in saved_builds.builds(desk.folder)),
             *(one.name for one in tests.tests.values())]  # fmt: skip
    msg = f"There is no build and no test called {name}.{did_you_mean(name, known)}"
    raise NotFoundError(msg)


def code_of(desk: Desk, start: str) -> str:
    """Return the code of the test that a form names; a test of the model goes by its name.

    Raises
    ------
    NotFoundError
        There is none, or there are several.

    """
    if not start:
        return start
    tests = desk.reading
    if start in tests.tests:
        return start
    found = tests.named(start)
    if len(found) == 1:
        return found[0].code
    if found:
        msg = f"{len(found)} tests are called {start}. Open the one you mean under My engines"
        raise NotFoundError(msg)
    from pullbook.model.trained import find_sheet

    if find_sheet.as_build(desk.model.predictor().model, start) is None:
        near = did_you_mean(start, (one.name for one in tests.tests.values()))
        msg = f"There is no test called {start}.{near}"
        raise NotFoundError(msg)
    return start


def beside(desk: Desk, name: str) -> Pull | None:
    """Return the pull of the test that is to be drawn beside a prediction, if one is named.

    Raises
    ------
    InputError
        There is no such test in the folder, or it cannot be drawn.

    """
    if not name:
        return None
    code = code_of(desk, name)
    test = desk.reading.tests.get(code)
    if test is None or not test.sheet.accepted:
        why = "is not in this folder" if test is None else "was not accepted; see My engines"
        msg = f"The test {name} {why}"
        raise InputError(msg)
    return test.pull


@dataclass(frozen=True, slots=True)
class Names:
    """Names to pick from.

    Attributes
    ----------
    listed
        The first of them, that stand in the page.
    more
        Where the others that fit what is typed are asked for; blank where all are listed.
    """

    listed: list[str]
    more: str = ""


def known(desk: Desk) -> Names:
    """Return the names of builds and tests to pick from."""
    return _listed(_known(desk), "/names")


def starts(desk: Desk) -> Names:
    """Return the names of tests that can be started from, to pick from."""
    return _listed(desk.reading.names, "/names/tests")


def suggested(desk: Desk, typed: str, *, builds: bool) -> list[str]:
    """Return the first names that hold every word typed, those that begin with it first."""
    names = _known(desk) if builds else desk.reading.names
    typed = typed.casefold().strip()
    words = typed.split()
    found = [name for name in names if all(word in name.casefold() for word in words)]
    return sorted(found, key=lambda name: not name.casefold().startswith(typed))[:_SUGGESTED]


def _known(desk: Desk) -> list[str]:
    saved = (one.build.sheet_id for one in saved_builds.builds(desk.folder))
    return list(dict.fromkeys([*saved, *desk.reading.names]))


def _listed(names: list[str], more: str) -> Names:
    return Names(names[:_LISTED], more if len(names) > _LISTED else "")


def start_of(desk: Desk, saved: Build) -> str:
    """Return the test that a saved build starts from: its code, if the build gives its file."""
    measured = str(saved.values.get("measured") or "")
    if not measured or desk.reading.named(measured):
        return measured
    place = (Path(saved.source).parent / measured).resolve()
    of_file = [one.code for one in desk.reading.tests.values()
               if Path(one.sheet.source).resolve() == place]  # fmt: skip
    return of_file[0] if len(of_file) == 1 else measured


def started_from(desk: Desk, start: str) -> str:
    """Return the name of the test that an answer starts from, given by code or by name.

    Raises
    ------
    NotFoundError
        There is no such test, neither in the folder nor in the model, or there are several.

    """
    test = desk.reading.tests.get(code_of(desk, start))
    return start if test is None else test.name


def measured_on(desk: Desk, build: Build, start: str) -> Build:
    """Return a build that names the test it starts from, if any; raises as `started_from`."""
    if not start:
        return build
    name = started_from(desk, start)
    return replace(build, values={**build.given, "measured": name}, derived=frozenset())


def ask(predictor: Predictor, named: Sequence[Named], tests: Sequence[Test]) -> Asked:
    """Return builds with the pulls they start from; ``tests`` are those that may be named."""
    return questions.ask(
        [one.build for one in named],
        predictor,
        [test.pull for test in tests],
        own_key.key_if_any,
        own=[one.pull for one in named],
    )


def tests_for(desk: Desk, named: Sequence[Named]) -> list[Test]:
    """Return the tests that builds start from, with the others of their engines."""
    names = {one.build.values.get("measured") for one in named} - {None}
    if not names:
        return []
    reading = desk.reading
    firsts = [test for test in reading.tests.values() if test.name in names]
    return [one for first in firsts for one in reading.of_engine(first)]


def speeds(found: Prediction, step: float, beyond: float = 0.0) -> Floats:
    """Return the engine speeds of an answer: round ones over what was tested, and a little more."""
    every = np.arange(np.ceil(found.speeds[0] / step) * step, found.speeds[-1] + 1, step)
    low, high = found.answered(every)
    if not low <= high:
        return every
    kept: Floats = every[(every >= low - beyond) & (every <= high + beyond)]
    return kept


def answers(found: Prediction, level: float, loads: Sequence[Load] = ()) -> tuple[Answer, Answer]:
    """Return an answer at the speeds of a table, and one close enough together to draw.

    Loads are looked at over all speeds that they cover, tested or not.
    """
    every = np.arange(np.ceil(found.speeds[0] / _TABLE) * _TABLE, found.speeds[-1] + 1, _TABLE)
    table = replace(
        found.answer(speeds(found, _TABLE), level),
        loads=tuple(clearance(found, one, every, level) for one in loads),
    )
    drawn = found.answer(speeds(found, _DRAWN, _BEYOND), level)
    return table, replace(
        drawn, peak_torque=table.peak_torque, peak_power=table.peak_power, loads=table.loads
    )
