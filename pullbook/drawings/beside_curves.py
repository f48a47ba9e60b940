"""What is drawn beside predicted curves: loads, and pulls as they were measured."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from pullbook.drawings.chart import LOAD, MEASURED, NEUTRAL, Curve
from pullbook.pipeline.loads.load_torque import torque_of
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.on_request import PROPELLER
from pullbook.text import load_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.trained.pulls import Pull
    from pullbook.schemas.answer import Answer
    from pullbook.schemas.on_request import Load
    from pullbook.words.units import Units

#: At which share of a load's line it is named; the second one elsewhere, clear of the first.
_NAMED_AT = (0.3, 0.7, 0.5)
_MEASURED_AT = 0.5
_POINTS = 60


def loads(answers: Sequence[Answer], units: Units, what: str, *, right: bool = False
          ) -> list[Curve]:  # fmt: skip
    """Return the loads of answers as lines of torque or power over the speeds of the answers.

    Where one build may not clear a load, its line is whole and thick.
    """
    over = answers[0].curve[0].rpm, answers[0].curve[-1].rpm
    made = lines([one.load for one in answers[0].loads], over, units, what, right=right)
    if len(answers) == 1:
        for found, load in runs_below(answers[0]):
            made += _stretch(load, (max(found[0], over[0]), min(found[1], over[1])), units, what,
                             right=right)  # fmt: skip
    return made


def runs_below(answer: Answer) -> list[tuple[tuple[float, float], Load]]:
    """Return the speeds at which a build may not clear a load, to half way to those it clears."""
    made: list[tuple[tuple[float, float], Load]] = []
    if load_text.outside(answer):
        return made
    for one in answer.loads:
        rpm = [point.rpm for point in one.tested]
        between = [rpm[0], *((a + b) / 2 for a, b in pairwise(rpm)), rpm[-1]] if rpm else []
        made += [
            ((between[rpm.index(first)], between[rpm.index(last) + 1]), one.load)
            for first, last in one.below
        ]
    return made


def _stretch(
    load: Load, over: tuple[float, float], units: Units, what: str, *, right: bool
) -> list[Curve]:
    return [replace(one, style=NEUTRAL, label="") for one in
            lines([load], over, units, what, right=right)]  # fmt: skip


def lines(
    given: Sequence[Load], over: tuple[float, float], units: Units, what: str = "torque",
    *, right: bool = False,
) -> list[Curve]:  # fmt: skip
    """Return loads as lines of torque or power ``over`` a range of engine speeds."""
    made = []
    for at, load in enumerate(given):
        low, high = _reach(load, *over)
        if low < high:
            rpm = np.linspace(low, high, _POINTS)
            scale, unit = (1.0, "lb-ft") if what == "torque" else (
                rpm / TORQUE_POWER_CONSTANT, "hp")  # fmt: skip
            heights = units.shown(1.0, unit) * torque_of(load, rpm) * scale
            label = "load" if len(given) == 1 else f"load {at + 1}"
            made.append(Curve(tuple(rpm.tolist()), tuple(heights.tolist()), style=LOAD, label=label,
                              at=_NAMED_AT[at % len(_NAMED_AT)], right=right))  # fmt: skip
    return made


def notes(given: Sequence[Load], units: Units) -> list[str]:
    """Return what the lines of loads are."""
    names = [load_text.name(one, units) for one in given]
    if len(names) == 1:
        return [f"dotted: torque that the load takes; {names[0]}"]
    return [f"load {at}: {name}" for at, name in enumerate(names, 1)]


def measured(pull: Pull, units: Units, what: str, *, right: bool = False) -> Curve:
    """Return a pull as a line of torque or power, readings at one speed averaged."""
    rpm, place = np.unique(pull.rpm, return_inverse=True)
    torque = np.bincount(place, pull.torque) / np.bincount(place)
    made = torque if what == "torque" else torque * rpm / TORQUE_POWER_CONSTANT
    heights = units.shown(1.0, "lb-ft" if what == "torque" else "hp") * made
    return Curve(tuple(rpm.tolist()), tuple(heights.tolist()), style=MEASURED, label="measured",
                 at=_MEASURED_AT, below=True, right=right)  # fmt: skip


def _reach(load: Load, first: float, last: float) -> tuple[float, float]:
    """Return the speeds over which a load is drawn: its own; of a propeller up to that speed."""
    if load.kind == PROPELLER:
        return first, min(load.rpm[-1], last)
    return load.rpm[0], load.rpm[-1]
