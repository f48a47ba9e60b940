"""What an answer promises and what it starts from, as a builder reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.words import figures
from pullbook.words.units import label

if TYPE_CHECKING:
    from pullbook.schemas.answer import Answer, Between
    from pullbook.words.units import Units


#: Sizes that follow from bore and stroke, so that it is said only that these were changed.
_SIZES = ("displacement", "cylinder_displacement")


def promise(answer: Answer) -> str:
    """Return what the limits of an answer promise, or why there are none."""
    what = answer.held_out
    if not answer.calibrated:
        if answer.bundle.get("own_dyno") and answer.regime == "new shop":
            return (
                "No limits for another shop's dyno: they need sheets of 5 shops or more. Name one"
                " of the shops behind this model with --shop."
            )
        count = figures.counted(answer.groups, what)
        verb = "is" if answer.groups == 1 else "are"
        return (
            f"No limits: they need 5 {figures.plural(what)} or more to hold out, and there {verb}"
            f" {count}."
        )
    percent = figures.level(answer.level)
    lines = (
        f"{percent} limits: about {figures.in_ten(answer.level)} values measured on"
        f" {whose(answer)} fall inside"
    )
    if answer.level < answer.asked_level:
        needed = figures.needed(answer.asked_level)
        return (
            f"{lines}. {figures.level(answer.asked_level)} limits take {needed}"
            f" {figures.plural(what)}, and {answer.groups} were held out."
        )
    return f"{lines}, as they did for the {answer.groups} {figures.plural(what)} held out."


def whose(answer: Answer) -> str:
    """Return what the values are measured on that the limits of an answer are about."""
    return {
        "new shop": "such builds by a shop new to the model",
        "known shop": "such builds by this shop",
        "own dyno": "such builds on this dyno",
        "measured engine": "an engine that was tested before parts were changed",
    }[answer.regime]


def family(answer: Answer) -> list[str]:
    """Return what is said of an engine family that the data does not have."""
    if answer.family == "known":
        return []
    new = (
        "No engine of this family was tested"
        if answer.family == "new"
        else "The build names no engine family that was tested"
    )
    if not answer.calibrated:
        return [f"{new}, so the error is likely larger."]
    if answer.held_out == "family":
        return [
            f"{new}, so the limits are wider: they come from predicting whole families that the"
            " model had not learned from."
        ]
    return [
        f"{new}, and there are too few families to check a new one: the limits may be too narrow."
    ]


def first(answer: Answer) -> list[str]:
    """Return what to know before anything else: that the measured pull is unlikely, if it is."""
    told = answer.measured
    return [] if told is None or told.unlikely is None else [f"Check first: {told.unlikely}"]


def start(answer: Answer, units: Units, *, others: bool = True) -> list[str]:
    """Return which measured sheet an answer starts from, and what it would be without it.

    ``others`` is whether to name the other sheets of the engine.
    """
    told = answer.measured
    if told is None:
        return []
    when = f", tested in {told.tested_on}" if told.tested_on else ""
    stated = ""
    if told.correction:
        observed = told.correction == "observed"
        stated = ", readings as observed" if observed else f", stated in {told.correction}"
    lines = [f"Starts from the measured sheet {told.sheet_id}{when}{stated}."]
    if told.others and others:
        count = figures.counted(len(told.others), "other sheet")
        lines.append(
            f"{figures.sentence(count)} of this engine count too: {', '.join(told.others)}."
        )
    size = {"bore", "stroke"} & {*told.changed}
    changed = ", ".join(label(name) for name in told.changed if not (size and name in _SIZES))
    lines.append(f"Changed since: {changed}." if changed else "No part was changed since.")
    if told.taken_over:
        lines.append(
            "Taken from that sheet, since the build leaves them out: "
            f"{', '.join(map(label, told.taken_over))}."
        )
    if answer.without is not None and (most := _most_apart(answer)) is not None:
        rpm, here, there = most
        here, there = (units.between(one, "lb-ft") for one in (here, there))
        lines.append(
            f"Without the sheet the answer would be {there.value:.0f} {units.torque} at {rpm:.0f}"
            f" rpm instead of {here.value:.0f}; that is where it differs most."
        )
    tested = [point.rpm for point in answer.curve if point.supported]
    low, high = told.sweep
    if tested and (tested[0] < low or tested[-1] > high):
        whose = "Its pulls reach" if told.others else "Its pull reaches"
        lines.append(
            f"{whose} from {figures.speed(low)} to {figures.speed(high)} rpm; beyond that the"
            " answer leans on other engines, and its limits are wider."
        )
    return lines


def _most_apart(answer: Answer) -> tuple[float, Between, Between] | None:
    pairs = [
        (point.rpm, point.torque, other.torque)
        for point, other in zip(answer.curve, answer.without or [], strict=True)
        if point.supported
    ]
    return max(pairs, key=lambda one: abs(one[1].value - one[2].value), default=None)
