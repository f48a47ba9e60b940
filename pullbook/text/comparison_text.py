"""From builds that a user names to their differences: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.text import prediction_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.compare import Difference
    from pullbook.model.answers.compare_several import Comparison
    from pullbook.schemas.answer import Between
    from pullbook.text.units import Units


def text(found: Comparison, manifest: Mapping[str, Any], units: Units) -> str:
    """Return a comparison as lines for the terminal."""
    lines = []
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
    for at, row in enumerate(rows(found, units)):
        name, mean, chance, standing = row
        lines.append(f"  {'ABCD'[at]} {name:28} {mean:>7} {units.torque}  {chance:>20}  {standing}")
    return lines


def rows(found: Comparison, units: Units) -> list[list[str]]:
    """Return name, mean torque, chance to be the best and standing of each build."""
    first = found.differences[0]
    means = [first.mean_a, *(one.mean_b for one in found.differences)]
    standings = [first.standings[0], *(one.standings[1] for one in found.differences)]
    chances: Sequence[float | None] = found.chances or [None] * len(means)
    return [
        [
            name,
            f"{units.shown(mean, 'lb-ft'):.1f}",
            "chance unknown" if chance is None else f"best in {100 * chance:.0f} of 100",
            standing.value,
        ]
        for name, mean, chance, standing in zip(found.names, means, chances, standings, strict=True)
    ]


def _pair(found: Difference, letter: str, units: Units) -> list[str]:
    a, b = found.names
    percent = f"{100 * found.level:g} %"
    dyno = "one shop's dyno" if found.one_shop else "the dynos of two shops"
    mean = units.between(found.mean, "lb-ft")
    mean_a, mean_b = (units.shown(one, "lb-ft") for one in (found.mean_a, found.mean_b))
    lines = [
        f"A: {a}, {found.standings[0].value} what was tested",
        f"{letter}: {b}, {found.standings[1].value} what was tested",
        "",
        f"Mean torque from {found.band[0]:.0f} to {found.band[1]:.0f} rpm, on {dyno}:",
        f"  A {mean_a:.1f}, {letter} {mean_b:.1f}; A less {letter} {signed(mean)} {units.torque}"
        f" ({percent} limits {limits(mean)})",
        "",
        prediction_text.wrap(verdict(found)),
        "",
        f"{'rpm':>6}  {f'A less {letter}, {units.torque}':>16}  {percent + ' limits':>18}"
        f"  {'A makes more in':>15}",
    ]
    for rpm, one, chance, supported in zip(
        found.rpm.tolist(), found.curve, found.chances, found.supported, strict=True
    ):
        shown = units.between(one, "lb-ft")
        sure = "" if chance is None else f"{100 * chance:.0f} of 100"
        said = f"{signed(shown):>16}  {limits(shown):>18}  {sure:>15}"
        lines.append(f"{rpm:6.0f}  {said if supported else 'not swept':>16}")
    lines.append("")
    return lines + [prediction_text.wrap(line) for line in crossings(found)]


def crossings(found: Difference) -> list[str]:
    """Return a sentence about each crossover, or that there is none."""
    said = []
    for one in found.crossovers:
        where = (
            f"; from {one.low:.0f} to {one.high:.0f} rpm nobody can tell which makes more"
            if one.low is not None and one.high is not None
            else ""
        )
        said.append(f"The curves cross at {one.value:.0f} rpm{where}.")
    return said or ["The curves do not cross in the band."]


def verdict(found: Difference) -> str:
    """Return which of two makes more over the band, or that nobody can tell."""
    a, b = found.names
    if found.chance is None or not found.calibrated:
        return f"No limits: too few shops for {100 * found.level:g} %."
    chance = f"the chance that A makes more over the band is {100 * found.chance:.0f} in 100"
    if found.told_apart:
        better = a if found.mean.value > 0 else b
        return f"{better} makes more over the band; {chance}."
    return f"The data cannot tell the two apart over the band: {chance}."


def signed(one: Between) -> str:
    """Return a difference with its sign."""
    return f"{one.value:+.1f}"


def limits(one: Between) -> str:
    """Return the limits of a difference, or that there are none."""
    return "none" if one.low is None or one.high is None else f"{one.low:+.1f} to {one.high:+.1f}"
