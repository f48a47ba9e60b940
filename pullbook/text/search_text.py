"""What a free search found, as a builder reads it in a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.schemas import field_words
from pullbook.text import caution_text, load_text, prediction_text
from pullbook.words import figures
from pullbook.words.units import label

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.choices.search_result import Found, Search, Slope, Worth
    from pullbook.pipeline.builds.free_fields import Free
    from pullbook.pipeline.builds.parts import Goal
    from pullbook.words.units import Units

#: What a gain is given for, by the unit of the field: so many units, as said.
_SPANS = {
    "deg": (1.0, "degree"), "in": (0.1, "0.1 in"), "sq in": (0.1, "0.1 sq in"),
    "cfm": (10.0, "10 cfm"), "cc": (10.0, "10 cc"), "mm": (1.0, "mm"),
    ":1": (1.0, "point"), "AKI": (1.0, "point"),
}  # fmt: skip

#: A gain that rounds to nothing.
_NOTHING = 0.05
#: Close to the best a gain that differs by this share from the average is said as well.
_ALIKE = 0.25


def goal(wanted: Goal) -> str:
    """Return a goal in words."""
    if wanted.of in ("torque", "power"):
        return f"{wanted.of} at {wanted.band[0]:.0f} rpm"
    said = figures.over(wanted.band, wanted.asked)
    return f"{'mean' if wanted.of == 'mean_torque' else 'minimum'} torque {said}"


def highest(wanted: Goal) -> str:
    """Return a goal as what is looked for: ``highest mean torque from 2000 to 4500 rpm``."""
    return f"highest {goal(wanted)}"


def title(found: Search) -> str:
    """Return what the chart of a search shows."""
    clears = found.best.reached.clears
    return figures.sentence(highest(found.goal)) if clears else "Nearest to clearing the load"


def text(found: Search, manifest: Mapping[str, Any], units: Units) -> str:
    """Return a search as lines for the terminal."""
    lines = [f"{found.base.build.sheet_id}: {highest(found.goal)}", units.condition, ""]
    lines += [prediction_text.wrap(line) for line in first(found, units)]
    heads, rows = headings(found, units), builds(found, units)
    lines += ["", *_columns([heads, *rows])]
    lines += [prediction_text.wrap(line) for line in alternatives(found, units)]
    lines += ["", "What each field is worth, the others as in the best build:"] * bool(found.worth)
    lines += [prediction_text.wrap(line) for line in worth(found, units)]
    lines += ["", *(prediction_text.wrap(line) for line in notes(found, units))]
    return "\n".join([*lines, "", prediction_text.source(manifest),
                      prediction_text.wrap(prediction_text.CAUTION, "")])  # fmt: skip


def _columns(rows: list[list[str]]) -> list[str]:
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    return [
        "  ".join(
            f"{cell:{width}}" if at == 0 else f"{cell:>{width}}"
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def first(found: Search, units: Units) -> list[str]:
    """Return the best build, and what it gains."""
    lines = _best(found, units)
    if along := _along(found.best, units):
        lines.append(f"Changed along with it, as on the engines tested: {along}.")
    less = found.base.less
    if less is None:
        return lines
    shown = units.between(less, found.goal.unit)
    gain, unit = figures.difference(shown.value), units.of(found.goal.unit)
    if shown.low is None:
        lines.append(f"Against your build as it is: {gain} {unit}, with no limits.")
    else:
        clear = "" if shown.low > 0 else ": no clear gain over your build"
        lines.append(
            f"Against your build as it is: {gain} {unit}, {figures.level(found.level)} limits"
            f" {figures.difference_limits(shown)}{clear}."
        )
    if found.not_given:
        names = " and ".join(label(name) for name in found.not_given)
        lines.append(
            f"Your build does not give {names}: the gain is over what such an engine usually has."
            " Give the part that is on it now to see what a change of it gains."
        )
    return lines


def _best(found: Search, units: Units) -> list[str]:
    """Return the best build, and whether it and the build as it is clear the loads of the goal."""
    best, reached = named(found.best, units), found.best.reached
    if not reached.clears:
        why = load_text.reason(reached.loads, units)
        return [f"Nothing that was searched is sure to clear the load. Nearest to it: {best}"
                f" ({why})."]  # fmt: skip
    own = load_text.reason(found.base.reached.loads, units)
    lines = [f"Best: {best}."]
    for one in reached.loads:
        chance = figures.percent(one.worst.chance or 0.0) if one.worst is not None else ""
        lines.append(
            f"It clears the load ({load_text.name(one.load, units)}): the chance is {chance} or"
            " more at every speed."
        )
    return [*lines, *([f"Your build as it is may not ({own})."] if own else [])]


def named(one: Found, units: Units) -> str:
    """Return the free fields of a build with their values."""
    return ", ".join(units.named(name, one.values[name]) for name in one.free)


def _moved(one: Found) -> list[str]:
    return [name for name in one.values if name not in one.free]


def _along(one: Found, units: Units) -> str:
    return ", ".join(
        f"{label(name)} not given" if one.values[name] is None
        else units.named(name, one.values[name])
        for name in _moved(one)
    )  # fmt: skip


def headings(found: Search, units: Units) -> list[str]:
    """Return the headings over `builds`."""
    unit = units.of(found.goal.unit)
    level = f"{figures.level(found.level)} limits"
    return ["build", f"goal, {unit}", level, "behind the best by", level, "data"]


def builds(found: Search, units: Units) -> list[list[str]]:
    """Return a row for the best, for those as good and for the build as it is."""
    rows = [("best" if found.best.reached.clears else "nearest", found.best)]
    rows += [(f"or {at}", one) for at, one in enumerate(found.alternatives, 1)]
    return [_row(name, one, found, units) for name, one in [*rows, ("as it is", found.base)]]


def alternatives(found: Search, units: Units) -> list[str]:
    """Return what the other builds of the table are."""
    return [f"or {at}: {named(one, units)}." for at, one in enumerate(found.alternatives, 1)]


def _row(name: str, one: Found, found: Search, units: Units) -> list[str]:
    value = units.between(one.reached.value, found.goal.unit)
    less = None if one.less is None else units.between(one.less, found.goal.unit)
    swept = "" if one.reached.swept else ", not tested over all of it"
    return [
        name,
        f"{value.value:.0f}",
        prediction_text.limits(value),
        "" if less is None else figures.difference(max(less.value, 0.0)).lstrip("+"),
        "" if less is None else figures.difference_limits(less),
        f"{one.found.standing.value}{swept}",
    ]


def worth(found: Search, units: Units) -> list[str]:
    """Return what each free field is worth."""
    return [_worth(one, found.goal, units) for one in found.worth]


def _worth(one: Worth, wanted: Goal, units: Units) -> str:
    name = one.free.name
    good = [units.field(name, value) for value in one.as_good]
    if one.free.choices:
        others = [value for value in good if value != str(one.best)]
        if len(others) == len(one.free.choices) - 1:
            return f"{label(name)}: {one.best} comes out best, and no other is clearly worse."
        known = f"; not clearly worse: {', '.join(others)}" if others else ", clearly"
        return f"{label(name)}: {one.best} is best{known}."
    line = f"{label(name)}: best at {units.field(name, one.best)}"
    for below, slope in ((True, one.below), (False, one.above)):
        if slope is not None:
            line += f"; {_gain(name, slope, wanted, units, below=below)}"
    if good[0] != good[-1]:
        low, high = (float(end) for end in one.as_good)
        line += f"; {_span(name, low, high, units)} is not clearly worse"
    if one.at_end:
        line += ". The best is at or near the end of what was tested; beyond it nothing is promised"
    return f"{line}."


def _gain(name: str, slope: Slope, wanted: Goal, units: Units, *, below: bool) -> str:
    """Return what each step brings from afar up to the best value, or from it on."""
    unit = field_words.unit_of(name, metric=units.metric)
    span, step = _SPANS.get(unit, (1.0, unit or "one"))
    scale = span / field_words.in_units(name, 1.0, metric=units.metric)
    average, near = (units.shown(one, wanted.unit) * scale for one in (slope.average, slope.near))
    end = units.field(name, slope.end)
    where = f"from {end} up to it" if below else f"from it to {end}"
    if max(abs(average), abs(near)) < _NOTHING:
        return f"{where} next to nothing changes"
    line = f"each {step} {where} {_brings(average)} {units.of(wanted.unit)}"
    if abs(near - average) <= _ALIKE * abs(average):
        return line
    return f"{line} on average, close to it {_brings(near).removeprefix(f'{_verb(average)} ')}"


def _verb(each: float) -> str:
    return "adds" if each > 0 else "costs"


def _brings(each: float) -> str:
    """Return a gain or a loss.

    >>> _brings(0.22), _brings(-1.4), _brings(0.03)
    ('adds 0.2', 'costs 1.4', 'adds next to nothing')
    """
    much = f"{abs(each):.1f}" if abs(each) >= _NOTHING else "next to nothing"
    return f"{_verb(each)} {much}"


def _searched(one: Free, units: Units) -> str:
    """Return a free field with the range or the choices that were searched."""
    if one.choices:
        return f"{label(one.name)} {', '.join(one.choices)}"
    return f"{label(one.name)} {_span(one.name, one.low, one.high, units)}"


def _span(name: str, low: float, high: float, units: Units) -> str:
    return field_words.Range(name, low, high).worded(metric=units.metric)


def notes(found: Search, units: Units) -> list[str]:
    """Return what else to know: what is outside the data, and what was done."""
    lines = caution_text.lines(found.best.cautions, units)
    if found.short is not None:
        why = load_text.reason(found.short.reached.loads, units)
        what = named(found.short, units)
        lines.append(f"Higher, but not sure to clear the load: {what} ({why}).")
    if found.outside is not None:
        why = prediction_text.reasons(found.outside.found.reasons, units)[0]
        lines.append(
            f"Higher, but outside the data and so not recommended: {named(found.outside, units)}"
            f" ({why})."
        )
    if found.alternatives:
        lines.append(
            "Builds marked 'or' are not clearly worse than the best: choose among them by what else"
            " matters."
        )
    searched = "; ".join(_searched(one, units) for one in found.free)
    lines.append(
        f"{found.tried} builds were looked at, within what was tested: {searched}. Differences are"
        " of one engine with other parts, on one dyno."
    )
    return lines
