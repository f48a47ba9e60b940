"""Which parts to choose: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook import answer_sheet, answer_text

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.figure import Figure

    from model.choose import Choice, Combination
    from pullbook.page import Page
    from pullbook.unit_choice import Units

_TOLD, _TOLD_OUTSIDE = 12, 3


def goal(found: Choice) -> str:
    """Return the goal in words."""
    name, (low, high) = found.goal
    if name == "mean_torque":
        return f"mean torque from {low:.0f} to {high:.0f} rpm"
    return f"{name} at {low:.0f} rpm"


def text(found: Choice, told: dict[str, Any], units: Units, most: int = _TOLD) -> str:
    """Return a choice as lines for the terminal."""
    lines = [answer_text.wrap(line) for line in first(found)]
    if found.ranked:
        lines += ["", *_table(found, found.ranked[:most], units)]
    if found.outside:
        lines += ["", "Outside what was tested, so none of these is recommended:"]
        lines += _table(found, found.outside[:_TOLD_OUTSIDE], units)
    lines += ["", *(answer_text.wrap(line) for line in notes(found))]
    return "\n".join([*lines, answer_text.source(told),
                      answer_text.wrap(answer_text.CAUTION, "")])  # fmt: skip


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
        cells = _cells(found, one, units)
        price = f"  {cells[5]:>8}" if priced else ""
        lines.append(
            f"{one.name:{width}}  {cells[0]:>6}  {cells[1]:>12}  {cells[2]:>9}"
            f"  {cells[3]:>10}  {cells[4]:>12}{price}  {cells[6]}".rstrip()
        )
    return lines


def _cells(found: Choice, one: Combination, units: Units) -> list[str]:
    value = units.between(one.goal, found.unit)
    low = units.shown(one.low.value, "lb-ft")
    power = units.peak(one.power, "hp")
    marks = [] if one.found.standing.value == "inside" else [one.found.standing.value]
    marks += [] if one.swept else ["not swept over all of it"]
    return [
        f"{value.value:.1f}",
        answer_text.limits(value),
        "" if one.chance is None else f"{100 * one.chance:.0f} of 100",
        f"{low:.1f}",
        "not swept" if power is None else f"{power.height.value:.0f} at {power.rpm.value:.0f}",
        "" if one.price is None else f"{one.price:g}",
        ", ".join(marks),
    ]


def figure(found: Choice, units: Units) -> Figure:
    """Return low-range torque against peak power of every combination, the unbeaten ones named."""
    from pullbook import chart  # noqa: PLC0415 - for those who want a picture

    drawn, axes = chart.panel(6.0)
    torque, power = units.shown(1.0, "lb-ft"), units.shown(1.0, "hp")

    def place(one: Combination) -> tuple[float, float]:
        height = float("nan") if one.power is None else one.power.height.value
        return height * power, one.low.value * torque

    for rows, marker, colour, label in (
        (found.outside, "x", chart.GREY, "outside what was tested"),
        (found.ranked, "o", chart.COLOURS[0], "within what was tested"),
    ):
        known = [place(one) for one in rows if one.power is not None]
        if known:
            across, up = zip(*known, strict=True)
            axes.scatter(across, up, marker=marker, color=colour, s=22, alpha=0.5, label=label)
    front = [place(one) for one in found.front()]
    axes.plot([x for x, _ in front], [y for _, y in front], color=chart.COLOURS[1], linewidth=1.4,
              marker="s", markersize=6, label="beaten by none in both")  # fmt: skip
    named = found.front()
    for one in {id(named[0]): named[0], id(named[-1]): named[-1]}.values() if named else ():
        axes.annotate(one.name, place(one), xytext=(0, 9), textcoords="offset points",
                      ha="right" if one is named[-1] else "left", fontsize=9)  # fmt: skip
    if found.ranked and found.ranked[0].power is not None:
        x, y = place(found.ranked[0])
        axes.plot([x], [y], "*", color=chart.INK, markersize=15, label="best for the goal")
    axes.set_xlabel(f"peak power, {units.power}")
    axes.set_ylabel(f"mean torque, {found.low[0]:.0f} to {found.low[1]:.0f} rpm, {units.torque}")
    axes.margins(0.12)
    axes.legend(frameon=False, fontsize=9, loc="best")
    chart.title(drawn, axes, "What is given up", f"goal: {goal(found)}")
    return drawn


def page(
    found: Choice,
    draw: Callable[[], Figure],
    told: dict[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a choice of parts."""
    alt = f"Low-range torque against peak power of each combination. {' '.join(first(found))}"
    made = answer_sheet.begin(f"Parts for {found.base.sheet_id}", draw, alt)
    made.heading("The answer")
    for line in [*first(found), *notes(found)]:
        made.text(line)
    unit = units.of(found.unit)
    heads = ["parts", unit, "limits", "best in", f"low range, {units.torque}",
             f"peak power, {units.power}", "price", "stands"]  # fmt: skip
    rows = [*found.ranked[:_TOLD], *found.outside[:_TOLD_OUTSIDE]]
    made.table(heads, [[one.name, *_cells(found, one, units)[:6], one.found.standing.value]
                       for one in rows])  # fmt: skip
    answer_sheet.builds(made, [found.base], units)
    return answer_sheet.close(made, told)
