"""Which parts to choose: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.text import prediction_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.parts_choice import Choice, Combination
    from pullbook.text.units import Units

SHOWN, SHOWN_OUTSIDE = 12, 3


def goal(found: Choice) -> str:
    """Return the goal in words."""
    name, (low, high) = found.goal
    if name == "mean_torque":
        return f"mean torque from {low:.0f} to {high:.0f} rpm"
    return f"{name} at {low:.0f} rpm"


def text(found: Choice, manifest: Mapping[str, Any], units: Units, most: int = SHOWN) -> str:
    """Return a choice as lines for the terminal."""
    lines = [prediction_text.wrap(line) for line in first(found)]
    if found.ranked:
        lines += ["", *_table(found, found.ranked[:most], units)]
    if found.outside:
        lines += ["", "Outside what was tested, so none of these is recommended:"]
        lines += _table(found, found.outside[:SHOWN_OUTSIDE], units)
    lines += ["", *(prediction_text.wrap(line) for line in notes(found))]
    return "\n".join([*lines, prediction_text.source(manifest),
                      prediction_text.wrap(prediction_text.CAUTION, "")])  # fmt: skip


def first(found: Choice) -> list[str]:
    """Return what to know before the table: what is best, and what nobody can recommend."""
    said = []
    if found.outside and (
        not found.ranked or found.outside[0].goal.value > found.ranked[0].goal.value
    ):
        said.append(
            f"Said first: {found.outside[0].name} comes out higher and stands OUTSIDE what was"
            f" tested ({found.outside[0].found.reasons[0].message}); it is not recommended."
        )
    if not found.ranked:
        return [*said, "Every combination within the limits stands outside what was tested."]
    top = found.ranked[0]
    chance = (
        "" if top.chance is None
        else f"; the chance that it is the best of these is {100 * top.chance:.0f} in 100"
    )  # fmt: skip
    return [*said, f"For {goal(found)}: {top.name}{chance}."]


def notes(found: Choice) -> list[str]:
    """Return what was left out, and which combinations no other beats."""
    said = []
    if found.beyond:
        what = ", ".join(f"{count} by {name}" for name, count in found.beyond.items())
        said.append(f"Ruled out by the limits: {what}.")
    if found.unfit[0]:
        said.append(f"Not fit to be built: {found.unfit[0]}; the first, {found.unfit[1]}")
    front = found.front()
    if len(front) > 1:
        names = "; ".join(one.name for one in front[:6])
        said.append(
            f"No other has both more mean torque from {found.low[0]:.0f} to {found.low[1]:.0f} rpm"
            f" and more peak power than: {names}."
        )
    return said


def _table(found: Choice, rows: Sequence[Combination], units: Units) -> list[str]:
    width = max(len(one.name) for one in rows)
    unit = units.of(found.unit)
    priced = any(one.price is not None for one in rows)
    head = f"{'parts':{width}}  {unit:>6}  {'limits':>12}  {'best in':>9}"
    head += f"  {'low range':>10}  {'peak power':>12}" + (f"  {'price':>8}" if priced else "")
    lines = [head]
    for one in rows:
        cells = table_cells(found, one, units)
        price = f"  {cells[5]:>8}" if priced else ""
        lines.append(
            f"{one.name:{width}}  {cells[0]:>6}  {cells[1]:>12}  {cells[2]:>9}"
            f"  {cells[3]:>10}  {cells[4]:>12}{price}  {cells[6]}".rstrip()
        )
    return lines


def table_cells(found: Choice, one: Combination, units: Units) -> list[str]:
    """Return the cells of a combination's row."""
    value = units.between(one.goal, found.unit)
    low = units.shown(one.low.value, "lb-ft")
    power = units.peak(one.power, "hp")
    marks = [] if one.found.standing.value == "inside" else [one.found.standing.value]
    marks += [] if one.swept else ["not swept over all of it"]
    return [
        f"{value.value:.1f}",
        prediction_text.limits(value),
        "" if one.chance is None else f"{100 * one.chance:.0f} of 100",
        f"{low:.1f}",
        "not swept" if power is None else f"{power.height.value:.0f} at {power.rpm.value:.0f}",
        "" if one.price is None else f"{one.price:g}",
        ", ".join(marks),
    ]
