"""From two builds that a user names to their difference, and that as text."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook import answer_text, asking

if TYPE_CHECKING:
    from pathlib import Path

    from model.answer import Between
    from model.compare import Difference
    from model.prediction import Prediction
    from model.training import Model
    from pipeline.sheet import Sheet

_WIDTH = 79


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


def predictions(builds: list[Sheet], model: Model, code: str | None) -> list[Prediction]:
    """Return what a model says of builds; ``code`` is that of the shop they are said to be of."""
    from model.prediction import predict  # noqa: PLC0415
    from pipeline.build_table import typed_builds  # noqa: PLC0415

    return predict(model, typed_builds(builds), [code] * len(builds))


def check_band(both: list[Prediction], band: tuple[float, float]) -> str | None:
    """Return a warning where a band leaves what builds like these were swept over.

    Raises
    ------
    CompareError
        None of the band was swept over.

    """
    rpm = np.linspace(*band, 81)
    supported = both[0].supported(rpm) & both[1].supported(rpm)
    if supported.all():
        return None
    grid = np.linspace(both[0].speeds[0], both[0].speeds[-1], 400)
    swept = grid[both[0].supported(grid) & both[1].supported(grid)]
    where = f"{swept[0]:.0f} to {swept[-1]:.0f} rpm" if len(swept) else "nowhere"
    said = f"the band {band[0]:.0f} to {band[1]:.0f} rpm"
    if not supported.any():
        msg = f"{said} was not swept with builds like both of these; that was done from {where}"
        raise CompareError(msg)
    return f"{said} leaves what builds like both of these were swept over, {where}"


def text(found: Difference, told: dict[str, Any]) -> str:
    """Return a difference as lines for the terminal."""
    a, b = found.names
    percent = f"{100 * found.level:g} %"
    dyno = "one shop's dyno" if found.one_shop else "the dynos of two shops"
    lines = [
        f"A: {a}, {found.standings[0].value} what was tested",
        f"B: {b}, {found.standings[1].value} what was tested",
        "",
        f"Mean torque from {found.band[0]:.0f} to {found.band[1]:.0f} rpm, on {dyno}:",
        f"  A {found.mean_a:.1f}, B {found.mean_b:.1f}; A less B {_signed(found.mean)} lb-ft"
        f" ({percent} limits {_limits(found.mean)})",
        "",
        _wrap(_verdict(found)),
        "",
        f"{'rpm':>6}  {'A less B, lb-ft':>16}  {percent + ' limits':>18}",
    ]
    for rpm, one, supported in zip(found.rpm.tolist(), found.curve, found.supported, strict=True):
        said = f"{_signed(one):>16}  {_limits(one):>18}" if supported else f"{'not swept':>16}"
        lines.append(f"{rpm:6.0f}  {said}")
    lines.append("")
    for one in found.crossovers:
        told_where = (
            f"; from {one.low:.0f} to {one.high:.0f} rpm nobody can tell which makes more"
            if one.low is not None
            else ""
        )
        lines.append(_wrap(f"The curves cross at {one.value:.0f} rpm{told_where}."))
    if not found.crossovers:
        lines.append("The curves do not cross in the band.")
    lines += [
        "",
        f"From {told['sheets']} sheets of {told['shops']} shops (bundle {told['id']}).",
        _wrap(answer_text.CAUTION, ""),
    ]
    return "\n".join(lines)


def _verdict(found: Difference) -> str:
    a, b = found.names
    if found.chance is None:
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


def _wrap(text_: str, indent: str = "  ") -> str:
    return textwrap.fill(text_, _WIDTH, subsequent_indent=indent, break_on_hyphens=False)
