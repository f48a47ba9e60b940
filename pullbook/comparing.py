"""From builds that a user names to their differences: as text, as a picture, as a page."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook import answer_sheet, answer_text, asking

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from matplotlib.figure import Figure

    from model.answer import Between
    from model.compare import Difference
    from model.prediction import Prediction
    from model.several import Comparison
    from pipeline.sheet import Sheet
    from pullbook.page import Page
    from pullbook.unit_choice import Units


class CompareError(ValueError):
    """Builds or a band that cannot be compared; the message says why."""


def one_build(path: Path) -> Sheet:
    """Return the one build in a file.

    Raises
    ------
    CompareError
        The file holds several builds, or one that cannot be predicted.

    """
    sheets = asking.read_builds(path)
    if len(sheets) != 1:
        msg = f"{path} holds {len(sheets)} builds; name a file with one"
        raise CompareError(msg)
    if not sheets[0].accepted:
        msg = f"{path}: {asking.error(sheets[0])['error']['message']}"
        raise CompareError(msg)
    return sheets[0]


def named_apart(sheets: Sequence[Sheet], paths: Sequence[Path]) -> list[Sheet]:
    """Return builds of which no two go by one name: those that did get their file's beside it."""
    names = Counter(sheet.sheet_id for sheet in sheets)
    return [
        sheet
        if names[sheet.sheet_id] == 1
        else replace(sheet, sheet_id=f"{sheet.sheet_id} ({path.name})")
        for sheet, path in zip(sheets, paths, strict=True)
    ]


def check_band(builds: Sequence[Prediction], band: tuple[float, float]) -> str | None:
    """Return a warning where a band leaves what builds like these were swept over.

    Raises
    ------
    CompareError
        None of the band was swept over.

    """
    rpm = np.linspace(*band, 81)
    supported = np.all([one.supported(rpm) for one in builds], axis=0)
    if supported.all():
        return None
    grid = np.linspace(builds[0].speeds[0], builds[0].speeds[-1], 400)
    swept = grid[np.all([one.supported(grid) for one in builds], axis=0)]
    where = f"{swept[0]:.0f} to {swept[-1]:.0f} rpm" if len(swept) else "nowhere"
    said = f"the band {band[0]:.0f} to {band[1]:.0f} rpm"
    such = "such a build" if len(builds) == 1 else "builds like all of these"
    if not supported.any():
        msg = f"{said} was not swept with {such}; that was done from {where}"
        raise CompareError(msg)
    return f"{said} leaves what {such} was swept over, {where}"


def text(found: Comparison, told: dict[str, Any], units: Units) -> str:
    """Return a comparison as lines for the terminal."""
    lines = []
    if len(found.differences) > 1:
        lines += [*_ranking(found, units), ""]
    for at, one in enumerate(found.differences, start=1):
        lines += [*_pair(one, "ABCD"[at], units), ""]
    return "\n".join([*lines, answer_text.source(told), answer_text.wrap(answer_text.CAUTION, "")])


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
        f"  A {mean_a:.1f}, {letter} {mean_b:.1f}; A less {letter} {_signed(mean)} {units.torque}"
        f" ({percent} limits {_limits(mean)})",
        "",
        answer_text.wrap(verdict(found)),
        "",
        f"{'rpm':>6}  {f'A less {letter}, {units.torque}':>16}  {percent + ' limits':>18}"
        f"  {'A makes more in':>15}",
    ]
    for rpm, one, chance, supported in zip(
        found.rpm.tolist(), found.curve, found.chances, found.supported, strict=True
    ):
        shown = units.between(one, "lb-ft")
        sure = "" if chance is None else f"{100 * chance:.0f} of 100"
        said = f"{_signed(shown):>16}  {_limits(shown):>18}  {sure:>15}"
        lines.append(f"{rpm:6.0f}  {said if supported else 'not swept':>16}")
    lines.append("")
    return lines + [answer_text.wrap(line) for line in crossings(found)]


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


def _signed(one: Between) -> str:
    return f"{one.value:+.1f}"


def _limits(one: Between) -> str:
    return "none" if one.low is None or one.high is None else f"{one.low:+.1f} to {one.high:+.1f}"


def page(
    found: Comparison,
    draw: Callable[[], Figure],
    sheets: Sequence[Sheet],
    told: dict[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a comparison."""
    said = " ".join(verdict(one) for one in found.differences)
    alt = f"Torque of the builds over engine speed, and their difference with its limits. {said}"
    made = answer_sheet.begin(" and ".join(found.names), draw, alt)
    band = found.differences[0].band
    made.heading(f"Mean torque from {band[0]:.0f} to {band[1]:.0f} rpm")
    made.table(["build", units.torque, "chance", "stands"], rows(found, units))
    for one in found.differences:
        percent = f"{100 * one.level:g} % limits"
        made.heading(f"{one.names[0]} less {one.names[1]}")
        for line in (verdict(one), *crossings(one)):
            made.text(line)
        shown = [units.between(point, "lb-ft") for point in one.curve]
        made.table(["rpm", f"difference, {units.torque}", percent], [
            [f"{rpm:.0f}", _signed(point), _limits(point)]
            for rpm, point, known in zip(one.rpm.tolist(), shown, one.supported, strict=True)
            if known
        ])  # fmt: skip
    answer_sheet.builds(made, sheets, units)
    return answer_sheet.close(made, told)
