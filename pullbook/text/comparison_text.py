"""A comparison of builds as a builder reads it in a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.text import figures, prediction_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.compare import Difference
    from pullbook.model.answers.compare_several import Comparison
    from pullbook.text.units import Units


def text(found: Comparison, manifest: Mapping[str, Any], units: Units) -> str:
    """Return a comparison as lines for the terminal."""
    lines = [units.condition, ""]
    if len(found.differences) > 1:
        lines += [*_ranking(found, units), ""]
    for at, one in enumerate(found.differences, start=1):
        lines += [*_pair(one, "ABCD"[at], units), ""]
    return "\n".join(
        [
            *lines,
            prediction_text.source(manifest),
            prediction_text.wrap(prediction_text.CAUTION, ""),
        ]
    )


def _ranking(found: Comparison, units: Units) -> list[str]:
    band = found.differences[0].band
    lines = [f"Mean torque from {band[0]:.0f} to {band[1]:.0f} rpm:"]
    for at, (name, mean, chance, standing) in enumerate(rows(found, units)):
        best = f"best: {chance} chance" if chance else "chance unknown"
        lines.append(
            f"  {'ABCD'[at]} {name:28} {mean:>5} {units.torque}  {best:>18}  {standing} data"
        )
    return lines


def rows(found: Comparison, units: Units) -> list[list[str]]:
    """Return name, mean torque, chance to make the most and standing of each build."""
    first = found.differences[0]
    means = [first.mean_a, *(one.mean_b for one in found.differences)]
    standings = [first.standings[0], *(one.standings[1] for one in found.differences)]
    chances: Sequence[float | None] = found.chances or [None] * len(means)
    return [
        [
            name,
            f"{units.shown(mean, 'lb-ft'):.0f}",
            "" if chance is None else figures.percent(chance),
            standing.value,
        ]
        for name, mean, chance, standing in zip(found.names, means, chances, standings, strict=True)
    ]


def _pair(found: Difference, letter: str, units: Units) -> list[str]:
    a, b = found.names
    percent = f"{100 * found.level:g} %"
    dyno = "both on one shop's dyno" if found.one_shop else "on the dynos of two shops"
    mean = units.between(found.mean, "lb-ft")
    mean_a, mean_b = (units.shown(one, "lb-ft") for one in (found.mean_a, found.mean_b))
    lines = [
        f"A: {a}, {prediction_text.PLACE[found.standings[0].value]}",
        f"{letter}: {b}, {prediction_text.PLACE[found.standings[1].value]}",
        "",
        f"Mean torque from {found.band[0]:.0f} to {found.band[1]:.0f} rpm, {dyno}:",
        f"  A {mean_a:.0f}, {letter} {mean_b:.0f}; A minus {letter}"
        f" {figures.difference(mean.value)} {units.torque}"
        f" ({percent} limits {figures.difference_limits(mean)})",
        "",
        prediction_text.wrap(verdict(found, letter)),
        "",
        f"{'rpm':>6}  {f'A minus {letter}, {units.torque}':>16}  {percent + ' limits':>18}"
        f"  {'chance of A':>12}",
    ]
    for rpm, one, chance, supported in zip(
        found.rpm.tolist(), found.curve, found.chances, found.supported, strict=True
    ):
        if not supported:
            lines.append(f"{rpm:6.0f}  {'-':>16}  {prediction_text.NOT_TESTED}")
            continue
        shown = units.between(one, "lb-ft")
        sure = "" if chance is None else figures.percent(chance)
        lines.append(f"{rpm:6.0f}  {figures.difference(shown.value):>16}"
                     f"  {figures.difference_limits(shown):>18}  {sure:>12}")  # fmt: skip
    lines.append("")
    if found.calibrated:
        lines.append(f"Chance of A: the chance that A makes more than {letter} at that speed.")
    return lines + [prediction_text.wrap(line) for line in crossings(found)]


def crossings(found: Difference) -> list[str]:
    """Return a sentence about each crossover, or that there is none."""
    lines = []
    for one in found.crossovers:
        where = (
            f"; from {figures.speed(one.low)} to {figures.speed(one.high)} rpm there is no clear"
            " difference"
            if one.low is not None and one.high is not None
            else ""
        )
        lines.append(f"The curves cross at {figures.speed(one.value)} rpm{where}.")
    return lines or ["The curves do not cross in the band."]


def verdict(found: Difference, letter: str = "B") -> str:
    """Return which of two makes more over the band, or that there is no clear difference."""
    a, b = found.names
    if found.chance is None or not found.calibrated:
        return f"No limits: {100 * found.level:g} % limits need sheets of more shops."
    first = found.mean.value > 0
    better, name, share = ("A", a, found.chance) if first else (letter, b, 1 - found.chance)
    if found.told_apart:
        return f"{name} makes more over the band ({figures.percent(share)} chance)."
    return (
        "No clear difference over the band"
        f" ({figures.percent(share)} chance that {better}, {name}, makes more)."
    )
