"""A comparison of builds as a builder reads it in a terminal."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from pullbook.model.limits.pair_kinds import (
    ONE_ENGINE,
    ONE_SHOP,
    TWO_MEASURED,
    TWO_SHOPS,
)
from pullbook.schemas.standing import Standing
from pullbook.text import prediction_text
from pullbook.words import figures, share_words
from pullbook.words.columns import columns
from pullbook.words.units import label

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.comparison.compare_several import Comparison
    from pullbook.model.comparison.difference import Difference
    from pullbook.words.units import Units


def text(found: Comparison, manifest: Mapping[str, Any], units: Units) -> str:
    """Return a comparison as lines for the terminal."""
    first = [assumed(found), *comparable(found), *doubts(found)]
    lines = [prediction_text.wrap(units.condition), *map(prediction_text.wrap, first), ""]
    if len(found.differences) > 1:
        lines += [*_ranking(found, units), ""]
    for at, one in enumerate(found.differences, start=1):
        lines += [*_pair(one, "ABCD"[at], units), ""]
    if found.shares is not None:
        lines += [*_shares(found, units), ""]
    lines += [*map(prediction_text.wrap, notes(found)), "", prediction_text.source(manifest)]
    return "\n".join([*lines, prediction_text.wrap(prediction_text.CAUTION, "")])


#: What the limits and chances of a difference are for, by what its two builds share.
_LIMITS_FOR = {
    ONE_SHOP: "Limits and chances are for separate engines run on the same dyno.",
    TWO_SHOPS: "Limits and chances are for separate engines, each run on another shop's dyno.",
    ONE_ENGINE: "Limits and chances are for running the engine again on its dyno.",
    TWO_MEASURED: "Limits and chances are for running each engine again on the dyno it ran on.",
}


def assumed(found: Comparison) -> str:
    """Return how the builds are compared, and on which dynos."""
    measured = [side for one in found.differences for side in one.measured]
    how = "What was measured is compared as measured, the rest as predicted. "
    if all(measured):
        how = (
            "Compared as measured, at one correction; a difference of the dynos they ran on is part"
            " of it. "
        )
    pairs = zip("BCD", found.differences, strict=False)
    by_shared: dict[str, list[str]] = {}
    for letter, one in pairs:
        by_shared.setdefault(one.shared, []).append(f"A with {letter}")
    said = [
        _LIMITS_FOR[shared]
        if len(by_shared) == 1
        else f"{figures.listed(which)}: {_LIMITS_FOR[shared][0].lower()}{_LIMITS_FOR[shared][1:]}"
        for shared, which in by_shared.items()
    ]
    return f"{how * any(measured)}{' '.join(said)}"


def comparable(found: Comparison) -> list[str]:
    """Return what was made the same, and what the difference was before."""
    if found.before is None:
        return []
    return [
        f"Made comparable: all have the {figures.listed([label(name) for name in found.same])} of"
        f" {found.names[0]}; what was"
        " changed on a measured engine is predicted from its pull."
    ]


def doubts(found: Comparison) -> list[str]:
    """Return which builds are outside the data, so that no chance they take part in is good."""
    standings = [found.differences[0].standings[0], *(d.standings[1] for d in found.differences)]
    beyond = _outside(found.names, standings)
    if not beyond or not found.differences[0].calibrated:
        return []
    return [
        f"Outside the data: {figures.listed(beyond)}. No chance is given where such a build takes"
        " part, and its limits may not hold."
    ]


def _outside(names: Sequence[str], standings: Sequence[Standing]) -> list[str]:
    """Return the names of the builds that are outside the data."""
    return [
        name
        for name, standing in zip(names, standings, strict=True)
        if standing is Standing.OUTSIDE
    ]


def notes(found: Comparison) -> list[str]:
    """Return from when on a difference is clear, and what a chance is of."""
    if not found.differences[0].calibrated:
        return []
    return [
        figures.clear(found.differences[0].level),
        "Chance of A: the chance that A makes more than the other build at that speed.",
    ]


def _ranking(found: Comparison, units: Units) -> list[str]:
    first = found.differences[0]
    heads = [f"mean {units.torque}", f"mean {units.power}", "chance to make most", "data"]
    _, *cells = zip(*rows(found, units), strict=True)
    chance = ", and the chance to make the most torque" if any(cells[2]) else ""
    title = f"Means {figures.over(first.over, first.band)}{chance}:"
    names = [f"{'ABCD'[at]} {name}" for at, name in enumerate(found.names)]
    return [title, "", *columns("", names, heads, list(zip(*cells, strict=True)))]


def headings(found: Comparison, units: Units) -> list[str]:
    """Return the headings over `rows`."""
    low, high = found.differences[0].over
    return ["build", f"mean torque {low:.0f} to {high:.0f} rpm, {units.torque}",
            f"mean power, {units.power}", "chance to make the most", "data"]  # fmt: skip


def rows(found: Comparison, units: Units) -> list[list[str]]:
    """Return name, mean torque and power, chance of the most torque and standing of each build."""
    first = found.differences[0]
    places = [place(first, 0), *(place(one, 1) for one in found.differences)]
    means = [first.mean_a, *(one.mean_b for one in found.differences)]
    powers = [first.power_a, *(one.power_b for one in found.differences)]
    standings = [first.standings[0], *(one.standings[1] for one in found.differences)]
    chances: Sequence[float | None] = [None] * len(means)
    if found.chances and not _outside(found.names, standings):
        chances = found.chances
    return [
        [
            name,
            f"{units.shown(mean, 'lb-ft'):.0f}",
            f"{units.shown(power, 'hp'):.0f}",
            "" if chance is None else figures.percent(chance),
            where,
        ]
        for name, mean, power, chance, where in zip(
            found.names, means, powers, chances, places, strict=True
        )
    ]


def _pair(found: Difference, letter: str, units: Units) -> list[str]:
    a, b = found.names
    beyond = _outside(found.names, found.standings)
    sure = not beyond and any(chance is not None for chance in found.chances)
    percent = f"{figures.level(found.level)}"
    lines = [
        prediction_text.wrap(f"A: {a}, {place(found, 0)}"),
        prediction_text.wrap(f"{letter}: {b}, {place(found, 1)}"),
        "",
        *map(prediction_text.wrap, means(found, letter, units)),
        "",
        prediction_text.wrap(verdict(found, letter)),
        "",
        f"{'rpm':>6}  {f'A minus {letter}, {units.torque}':>16}  {percent + ' limits':>18}"
        f"  {'chance of A' * sure:>12}".rstrip(),
    ]
    for rpm, apart, limits, chance in curve(found, units):
        if not apart:
            lines.append(f"{rpm:>6}  {'-':>16}  {prediction_text.NOT_TESTED}")
            continue
        said = chance if sure else ""
        lines.append(f"{rpm:>6}  {apart:>16}  {limits:>18}  {said:>12}".rstrip())
    return [*lines, "", *(prediction_text.wrap(line) for line in crossings(found))]


def curve(found: Difference, units: Units) -> list[list[str]]:
    """Return a row a speed: rpm, difference, its limits, chance of A; blank where not tested."""
    shown = [units.between(one, "lb-ft") for one in found.curve]
    tested = [one for one, known in zip(shown, found.supported, strict=True) if known]
    said = iter(figures.differences_with_limits(tested))
    return [
        [f"{rpm:.0f}", *(next(said) if known else ("", "")),
         "" if chance is None or not known else figures.percent(chance)]
        for rpm, known, chance in zip(
            found.rpm.tolist(), found.supported, found.chances, strict=True
        )
    ]  # fmt: skip


def means(found: Difference, letter: str, units: Units) -> list[str]:
    """Return mean torque and power over the tested part of the band, and their differences."""
    percent, lines = figures.level(found.level), []
    for what, unit, a, b, apart in (
        ("torque", "lb-ft", found.mean_a, found.mean_b, found.mean),
        ("power", "hp", found.power_a, found.power_b, found.power),
    ):
        shown, name = units.between(apart, unit), units.of(unit)
        mine, other = (units.shown(one, unit) for one in (a, b))
        lines.append(
            f"Mean {what} {figures.over(found.over, found.band)}: A {mine:.0f}, {letter}"
            f" {other:.0f} {name}; A minus {letter} {figures.difference(shown.value)} {name}"
            f" ({percent} limits {figures.difference_limits(shown)})."
        )
    return lines


def place(found: Difference, side: int) -> str:
    """Return whether a build was measured, or where it stands."""
    if found.measured[side]:
        return "as measured"
    return prediction_text.PLACE[found.standings[side].value]


def _shares(found: Comparison, units: Units) -> list[str]:
    rows_ = share_words.rows(found, units)
    level = found.differences[0].level if found.shares is None else found.shares.level
    width = max(len(name) for name, _, _ in rows_)
    lines = [prediction_text.wrap(f"{share_words.title(found)}:")]
    for name, share, limits in rows_:
        sure = f"  ({figures.level(level)} limits {limits})" if limits else ""
        lines.append(f"  {name:{width}}  {share:>6} {units.torque}{sure}")
    return [*lines, "", *map(prediction_text.wrap, share_words.meaning(found))]


def crossings(found: Difference) -> list[str]:
    """Return a sentence about each crossover, or that there is none.

    Measured curves may cross again and again where there is no clear difference.
    """
    lines = []
    for (low, high), some in groupby(found.crossovers, lambda one: (one.low, one.high)):
        speeds = [figures.speed(one.value) for one in some]
        crossed = (
            f"cross at {speeds[0]} rpm"
            if len(speeds) == 1
            else f"cross {len(speeds)} times from {speeds[0]} to {speeds[-1]} rpm"
        )
        where = (
            f"; from {figures.speed(low)} to {figures.speed(high)} rpm there is no clear difference"
            if low is not None and high is not None
            else ""
        )
        lines.append(f"The curves {crossed}{where}.")
    return lines or ["The curves do not cross in the band."]


def verdict(found: Difference, letter: str = "B") -> str:
    """Return which of two makes more over the band, or that there is no clear difference."""
    a, b = found.names
    if found.chance is None or not found.calibrated:
        return "No limits: too few shops or engines like these could be held out."
    first = found.mean.value > 0
    better, name, share = ("A", a, found.chance) if first else (letter, b, 1 - found.chance)
    beyond = _outside((a, b), found.standings)
    if beyond:
        who = "it" if beyond == [name] else "the other" if len(beyond) == 1 else "both"
        return (
            f"{name} is predicted higher over the band, but {who}"
            f" {'is' if len(beyond) == 1 else 'are'} {prediction_text.NO_CHANCE}."
        )
    if found.alike:
        return "No difference: the two are the same in everything that counts here."
    if found.told_apart:
        return f"{name} makes more over the band ({figures.percent(share)} chance)."
    chance = f"({figures.percent(share)} chance that {better}, {name}, makes more)"
    if where := clear_speeds(found, "A", letter):
        return f"{where}; over the whole band the difference is not clear {chance}."
    return f"No clear difference over the band {chance}."


def clear_speeds(found: Difference, first: str, second: str) -> str:
    """Return at which speeds each build is clearly stronger; nothing if at none."""
    sides = []
    for one in found.curve:
        clear = one.low is not None and one.high is not None and not one.low <= 0 <= one.high
        sides.append(second if clear and one.value < 0 else first if clear else "")
    runs = []
    for side, points in groupby(
        zip(found.rpm.tolist(), sides, found.supported, strict=True),
        lambda point: point[1] if point[2] else "",
    ):
        speeds = [rpm for rpm, _, _ in points]
        span = f"from {speeds[0]:.0f} to {speeds[-1]:.0f}"
        span = span if len(speeds) > 1 else f"at {speeds[0]:.0f}"
        runs += [f"{side} is clearly stronger {span} rpm"] if side else []
    return ", ".join(runs)
