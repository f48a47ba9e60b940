"""How far torque clears a load, as a builder reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.on_request import PROPELLER, TABLE
from pullbook.text import prediction_text
from pullbook.words import figures, promise

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.schemas.answer import Answer
    from pullbook.schemas.on_request import Clearance, Load
    from pullbook.words.units import Units

#: What the chance is of, and what it is not.
CHANCE = (
    "Chance: that torque measured at that one speed is above the load, from the same held-out tests"
    " as the limits."
)
OF_LOAD = (
    "The load is torque at the flywheel, at the same standard. Gears and shafts take some more, and"
    " an engine makes less in thinner or warmer air."
)
#: A smaller chance of all speeds at once says too little to be given.
_LEAST_SAID = 0.05


def name(load: Load, units: Units) -> str:
    """Return a load in words: ``propeller, 150 hp at 4000 rpm``."""
    low, high = load.rpm[0], load.rpm[-1]
    torque = f"{units.shown(load.torque[0], 'lb-ft'):.0f} {units.torque}"
    if load.kind == TABLE:
        return f"{load.source}, {low:.0f} to {high:.0f} rpm"
    if load.kind != PROPELLER:
        return f"towing, {torque} from {low:.0f} to {high:.0f} rpm"
    power = load.torque[0] * low / TORQUE_POWER_CONSTANT
    given = f"{units.shown(power, 'hp'):.0f} {units.power}" if load.by_power else torque
    return f"propeller, {given} at {low:.0f} rpm"


def lines(answer: Answer, units: Units, *, whole: bool = True) -> list[str]:
    """Return what is said of each load for the terminal; with its table in a ``whole`` answer."""
    said = []
    for one in answer.loads:
        head, told = f"Load: {name(one.load, units)}", verdict(one, answer)
        if whole:
            said += [prediction_text.wrap(head)]
            said += _columns([headings(answer, units), *rows(one, answer, units)])
            said += [*map(prediction_text.wrap, told), ""]
        else:
            said += [prediction_text.wrap(f"  {head}. {' '.join(told)}", "    ")]
    return [*said, *map(prediction_text.wrap, notes(answer)), ""] if said and whole else said


def _columns(cells: Sequence[Sequence[str]]) -> list[str]:
    widths = [6, *(max(len(row[at]) for row in cells) for at in range(1, len(cells[0])))]
    return [
        "  ".join(f"{cell:>{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in cells
    ]


def headings(answer: Answer, units: Units) -> list[str]:
    """Return the headings over `rows`."""
    spare, limits = f"to spare, {units.torque}", f"{figures.level(answer.level)} limits"
    return ["rpm", f"load, {units.torque}", spare, limits, "chance"]


def rows(found: Clearance, answer: Answer, units: Units) -> list[list[str]]:
    """Return a row for each engine speed: the load, what torque leaves above it, and the chance."""
    made = []
    for one in found.points:
        load = f"{units.shown(one.load, 'lb-ft'):.0f}"
        if not one.supported:
            made.append([f"{one.rpm:.0f}", load, "not tested", "", ""])
            continue
        margin = units.between(one.margin, "lb-ft")
        chance = "" if one.chance is None or outside(answer) else figures.percent(one.chance)
        made.append([f"{one.rpm:.0f}", load, figures.difference(margin.value),
                     figures.difference_limits(margin), chance])  # fmt: skip
    return made


def verdict(found: Clearance, answer: Answer) -> list[str]:
    """Return whether torque clears a load, and where it may not."""
    worst = found.worst
    if worst is None:
        return ["Not known: such builds were tested at none of these speeds."]
    beyond = ""
    if found.unknown:
        beyond = f" Not tested {_spans(found)}, so not known there."
    if worst.chance is None:
        side = "above" if worst.margin.value > 0 else "below"
        return [f"Predicted {side} the load where it is closest, at {worst.rpm:.0f} rpm; no limits,"
                f" so no chance is given.{beyond}"]  # fmt: skip
    if outside(answer):
        side = "above" if worst.margin.value > 0 else "below"
        return [f"Predicted {side} the load where it is closest, at {worst.rpm:.0f} rpm; the build"
                f" is {prediction_text.NO_CHANCE}.{beyond}"]  # fmt: skip
    lowest = figures.short_of(worst.chance, found.level)
    least = f"lowest at {worst.rpm:.0f} rpm ({lowest})"
    level = figures.level(found.level)
    every = "at every tested speed" if found.unknown else "at every speed"
    if found.below:
        where = " and ".join(span(*run) for run in found.below)
        lines = [f"May not clear it: the chance is below {level} {where}, {least}.{beyond}"]
    elif lowest.startswith(">"):
        lines = [f"Clears it: the chance is over {lowest.lstrip('>')} {every}.{beyond}"]
    else:
        lines = [f"Clears it: the chance is {level} or more {every}, {least}.{beyond}"]
    if found.together is not None and found.together >= _LEAST_SAID:
        chance = figures.percent(found.together)
        least = f"over {chance.lstrip('>')}" if chance.startswith(">") else f"at least {chance}"
        lines.append(f"Chance that one pull clears it {every}: {least}.")
    return lines


def reason(found: Sequence[Clearance], units: Units) -> str:
    """Return why a build does not clear loads, in a few words; nothing if it does."""
    several = len(found) > 1
    return "; ".join(
        f"{f'{name(one.load, units)}: ' if several else ''}{_reason(one)}"
        for one in found
        if not one.cleared
    )


def _reason(found: Clearance) -> str:
    worst = found.worst
    if worst is None:
        return "not tested at these speeds"
    if found.below:
        chance = figures.short_of(worst.chance or 0.0, found.level)
        return f"{chance} chance at {worst.rpm:.0f} rpm"
    return f"not tested {_spans(found)}" if found.unknown else "no limits, so no chance"


def span(first: float, last: float) -> str:
    """Return a run of engine speeds in words.

    >>> span(3500, 4000), span(4000, 4000)
    ('from 3500 to 4000 rpm', 'at 4000 rpm')
    """
    return f"at {last:.0f} rpm" if first == last else f"from {first:.0f} to {last:.0f} rpm"


def _spans(found: Clearance) -> str:
    """Return below and above which speeds such builds were not tested, in words."""
    first, last = found.tested[0].rpm, found.tested[-1].rpm
    below = [f"below {first:.0f} rpm"] if found.unknown[0] < first else []
    above = [f"above {last:.0f} rpm"] if found.unknown[-1] > last else []
    return " and ".join([*below, *above])


def notes(answer: Answer) -> list[str]:
    """Return what the chances are of, and what a load is."""
    if not answer.loads:
        return []
    whose = [] if outside(answer) or not answer.calibrated else [
        f"{CHANCE} It holds for {promise.whose(answer)}."]  # fmt: skip
    return [*whose, OF_LOAD]


def outside(answer: Answer) -> bool:
    """Return whether a build is outside the data, so that no chance is given."""
    return answer.standing.value == "outside"
