"""A choice of parts as a builder reads it in a terminal."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from pullbook.model.choices.parts_choice import SWEEP
from pullbook.pipeline.builds.parts import PRICE, TORQUE
from pullbook.text import caution_text, load_text, prediction_text
from pullbook.text.search_text import goal, highest
from pullbook.words import figures
from pullbook.words.columns import columns
from pullbook.words.units import label

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.choices.parts_choice import Choice, Combination
    from pullbook.pipeline.builds.parts import Limit
    from pullbook.words.units import Units

SHOWN, SHOWN_SHORT, SHOWN_OUTSIDE = 12, 5, 3
_MOST_UNBEATEN = 6
_CLEAR_FAVOURITE = 0.6


def text(found: Choice, manifest: Mapping[str, Any], units: Units, most: int = SHOWN) -> str:
    """Return a choice as lines for the terminal."""
    lines = [prediction_text.wrap(line) for line in first(found, units)]
    lines.append(prediction_text.wrap(units.condition))
    lines += [prediction_text.wrap(line) for line in about(found, units)]
    if found.ranked:
        lines += ["", *_table(found, found.ranked[:most], units)]
    if len(found.money) > 1:
        lines += ["", *map(prediction_text.wrap, money_lines(found, units))]
    if found.short:
        lines += ["", prediction_text.wrap(not_clearing(found))]
        lines += _table(found, found.short[:SHOWN_SHORT], units)
        lines += [prediction_text.wrap(line) for line in shortfalls(found, units)]
    if found.outside:
        lines += ["", "Outside the data, so none of these is recommended:"]
        lines += _table(found, found.outside[:SHOWN_OUTSIDE], units)
    lines += ["", *(prediction_text.wrap(line) for line in notes(found, units))]
    return "\n".join([*lines, prediction_text.source(manifest),
                      prediction_text.wrap(prediction_text.CAUTION, "")])  # fmt: skip


def title(found: Choice) -> str:
    """Return what the choice is of: a build with a name of its own, or the parts of a file."""
    name = found.base.sheet_id
    stem = PurePath(found.base.source).stem
    return f"Parts list {name}" if name == stem else f"Parts for {name}"


def about(found: Choice, units: Units) -> list[str]:
    """Return the goal, what is shown beside it, and what every combination has to meet."""
    low, high = found.low
    lines = [
        f"Goal: {goal(found.goal)}. Also shown: low-end torque, mean of {low:.0f} to {high:.0f} rpm"
        f"{_power(found)}."
    ]
    if found.goal.loads:
        names = "; ".join(load_text.name(one, units) for one in found.goal.loads)
        lines.append(f"Load to clear: {names}.")
    if found.limits:
        lines.append(
            f"Requirements: {'; '.join(_requirement(one, units) for one in found.limits)}."
        )
    return lines


#: What each gain for money is given for, in the money of the list.
_SUM = 100.0
#: Chance of a gain from which it is given for each sum of money.
_CLEAR = 0.75


def money_lines(found: Choice, units: Units) -> list[str]:
    """Return what money buys: each combination that none at its price or less betters."""
    unit = units.of(found.unit)
    lines = ["What more money buys (each is predicted above everything cheaper):"]
    for one in found.money:
        goal_ = f"{units.shown(one.one.goal.value, found.unit):.0f} {unit}"
        line = f"{one.price:g}: {goal_}, {one.one.name}"
        if one.gain is not None and one.each is not None:
            gain = figures.difference(units.between(one.gain, found.unit).value)
            each = figures.small(units.shown(one.each, found.unit) * _SUM)
            line += f"; {one.more:g} more for {gain} {unit}"
            if one.chance is not None and one.chance < _CLEAR:
                line += f", no clear gain ({figures.percent(one.chance)} chance of one)"
            else:
                sure = "" if one.chance is None else f", {figures.percent(one.chance)} chance"
                line += f": {each} for each {_SUM:.0f}{sure}"
        lines.append(f"- {line}")
    return lines


def not_clearing(found: Choice) -> str:
    """Return what is said over the combinations that do not clear a load."""
    count = figures.counted(len(found.short), "combination")
    first = f", the first {SHOWN_SHORT} of them" if len(found.short) > SHOWN_SHORT else ""
    return (
        f"Not sure to clear the load, with a chance of {figures.level(found.level)} at every speed,"
        f" and so ranked after: {count}{first}:"
    )


def shortfalls(found: Choice, units: Units) -> list[str]:
    """Return why combinations do not clear a load."""
    return [
        f"{one.name}: {load_text.reason(one.reached.loads, units)}."
        for one in found.short[:SHOWN_SHORT]
    ]


def _power(found: Choice) -> str:
    if found.for_power is None:
        return ""
    low, high = found.for_power
    return f", and highest power from {low:.0f} to {high:.0f} rpm, where all were tested"


def _requirement(one: Limit, units: Units) -> str:
    def shown(value: float) -> str:
        if one.of == TORQUE:
            return f"{units.shown(value, 'lb-ft'):.0f} {units.torque}"
        return f"{value:g}" if one.of == PRICE else units.field(one.of, value)

    ends = [
        f"at {side} {shown(value)}"
        for side, value in (("least", one.at_least), ("most", one.at_most))
        if value is not None
    ]
    over = f" from {one.over[0]:.0f} to {one.over[1]:.0f} rpm" if one.over else ""
    return f"{label(one.of)}{over} {' and '.join(ends)}"


#: The headings over `part_rows`.
PART_HEADINGS = ("kind", "part", "what it is", "price")


def part_rows(found: Choice, units: Units) -> list[list[str]]:
    """Return kind, name, fields and price of every part of the list."""
    return [
        [
            part.kind,
            part.name,
            ", ".join(units.named(name, value) for name, value in part.values.items()) or "-",
            "-" if part.price is None else f"{part.price:g}",
        ]
        for parts in found.parts.values()
        for part in parts
    ]


def first(found: Choice, units: Units) -> list[str]:
    """Return what to know before the table: the best, and what is higher but untested."""
    lines = []
    if found.outside and (
        not found.ranked or found.outside[0].goal.value > found.ranked[0].goal.value
    ):
        why = prediction_text.reasons(found.outside[0].found.reasons, units)[0]
        lines.append(
            f"Note: {found.outside[0].name} comes out higher but is outside the data ({why}), so it"
            " is not recommended."
        )
    if not found.ranked and found.short:
        nearest = max(found.short, key=lambda one: one.reached.room)
        return [*lines, "No combination is sure to clear the load; the nearest to it is"
                f" {nearest.name}."]  # fmt: skip
    if not found.ranked:
        return [*lines, "Every combination that meets the requirements is outside the data."]
    best = found.ranked[0]
    if found.goal.loads and not found.short and best.chance is not None:
        sure = figures.level(found.level)
        lines.append(
            f"Each one ranked clears the load, with a chance of {sure} or more at every speed."
        )
    if len(found.ranked) == 1:
        what = figures.sentence(highest(found.goal))
        return [*lines, f"{what}: {best.name}, the only one that is left."]
    return [*lines, f"{figures.sentence(highest(found.goal))}: {favourite(found)}."]


def favourite(found: Choice) -> str:
    """Return the best, how likely it is that, and whether another is as likely."""
    best = found.ranked[0]
    if best.chance is None:
        return best.name
    chance = figures.percent(best.chance)
    likelier = max(found.ranked, key=lambda one: one.chance or 0.0)
    if (likelier.chance or 0.0) > best.chance:
        return (
            f"too close to call between {best.name} ({chance} chance that it is the best of these)"
            f" and {likelier.name} ({figures.percent(likelier.chance or 0.0)})"
        )
    slight = ", a slight favourite only" if best.chance < _CLEAR_FAVOURITE else ""
    return f"{best.name} ({chance} chance that it is the best of these{slight})"


def cautions(found: Choice, units: Units) -> list[str]:
    """Return what the combinations shown exceed of what they should not, those alike together."""
    whose: dict[str, list[str]] = {}
    for one in shown(found):
        for each in one.cautions:
            whose.setdefault(caution_text.said(each, units), []).append(one.name)
    every = len(shown(found))
    return [
        f"Caution, {'all of them' if len(names) == every > 1 else figures.listed(names)}: {what}."
        for what, names in whose.items()
    ]


def notes(found: Choice, units: Units) -> list[str]:
    """Return what was left out, and which combinations no other beats."""
    lines = cautions(found, units)
    if len(found.ranked) > 1 and found.ranked[0].chance is not None:
        lines.append(
            "Chance best: the chance that the engine makes the most with these parts, run with all"
            " of them on the same dyno."
        )
    if found.beyond:
        what = ", ".join(
            f"{count} by {'speeds not tested' if name == SWEEP else label(name)}"
            for name, count in found.beyond.items()
        )
        lines.append(f"Ruled out: {what}.")
    if found.unfit[0]:
        what = figures.counted(found.unfit[0], "combination")
        lines.append(f"Cannot be built: {what}; the first: {found.unfit[1]}")
    front = found.front()
    if len(front) > 1:
        names = "; ".join(one.name for one in front[:_MOST_UNBEATEN])
        lines.append(
            f"Best trade-offs of torque from {found.low[0]:.0f} to {found.low[1]:.0f} rpm against"
            f" highest power: {names}."
        )
    if not all(one.swept for one in shown(found)):
        lines.append("In part: such builds were tested at some of these speeds only.")
    if any(one.power is not None and one.power.at_end for one in shown(found)):
        lines.append(prediction_text.END_EXPLAINED)
    return lines


def shown(found: Choice) -> list[Combination]:
    """Return the combinations that the table shows."""
    return [
        *found.ranked[:SHOWN], *found.short[:SHOWN_SHORT], *found.outside[:SHOWN_OUTSIDE]
    ]  # fmt: skip


def headings(found: Choice, units: Units) -> list[str]:
    """Return the headings over the cells of `table_cells`."""
    return [
        f"goal, {units.of(found.unit)}", f"goal, {figures.level(found.level)} limits",
        "chance best",
        f"low end, {units.torque}",
        f"highest {units.power} at rpm", "price", "data",
    ]  # fmt: skip


def _table(found: Choice, rows: Sequence[Combination], units: Units) -> list[str]:
    cells = [table_cells(found, one, units) for one in rows]
    return columns("parts", [one.name for one in rows], headings(found, units), cells)


def table_cells(found: Choice, one: Combination, units: Units) -> list[str]:
    """Return the cells of a combination's row."""
    value = units.between(one.goal, found.unit)
    marks = [one.found.standing.value]
    marks += [] if one.swept else ["in part"]
    marks += [] if one.reached.clears else ["load"]
    return [
        f"{value.value:.0f}",
        prediction_text.limits(value),
        "" if one.chance is None or len(found.ranked) == 1 else figures.percent(one.chance),
        f"{units.shown(one.low.value, 'lb-ft'):.0f}",
        prediction_text.short_peak(units.peak(one.power, "hp")),
        "" if one.price is None else f"{one.price:g}",
        ", ".join(marks),
    ]
