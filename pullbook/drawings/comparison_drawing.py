"""Builds compared, described as a chart: their torque, and the difference with its own limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.drawings.chart import NEUTRAL, Bar, Chart, Curve, Mark, Panel
from pullbook.text import comparison_text
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pullbook.model.comparison.compare import Difference
    from pullbook.model.comparison.measured_difference import Shares
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.answer import Between
    from pullbook.words.units import Units

#: With more crossovers than this, as of measured curves that are alike, none is marked.
_MOST_CROSSINGS = 3
_LETTERS = "ABCD"


def of_differences(
    builds: Sequence[Prediction],
    found: Sequence[Difference],
    units: Units,
    shares: Shares | None = None,
    *,
    made_same: bool = False,
) -> Chart:
    """Return torque of builds, and below it the first minus each other with its own limits.

    Parameters
    ----------
    builds
        The predictions of the builds, at most four.
    found
        The first minus each of the others, at engine speeds close enough together to draw.
    units
        Units to draw in.
    shares
        What makes the difference of two, if that is to be drawn too.
    made_same
        Whether parts were made the same since; shares are of the builds before that.

    """
    names = [found[0].names[0], *(one.names[1] for one in found)]
    panels = [_torque(builds, names, found[0], units), _differences(found, units)]
    if shares is not None:
        panels.append(_shares(shares, units, made_same=made_same))
    count = "Two" if len(builds) == 2 else "Several"
    how = {m for one in found for m in one.measured}
    origin = " or ".join("measured" if one else "predicted" for one in sorted(how, reverse=True))
    verdicts = [comparison_text.verdict(one, "BCD"[at]) for at, one in enumerate(found)]
    alt = "Torque of the builds over engine speed, and their difference with its limits."
    return Chart(
        f"{count} builds compared",
        (f"{origin} torque at the flywheel", _limits(found, short=shares is not None)),
        tuple(panels),
        f"{alt} {' '.join(verdicts)}",
    )


def _limits(found: Sequence[Difference], *, short: bool) -> str:
    if not found[0].calibrated:
        return "no limits: too few shops or engines"
    dyno = "one shop's dyno" if found[0].one_shop else "two shops' dynos"
    if any(any(one.measured) for one in found):
        dyno = "tested once more"
    text = f"shaded: {figures.level(found[0].level)} limits of the difference, {dyno}"
    return text.replace(", ", ",\n") if short else text  # names of bars leave less room


def _torque(
    builds: Sequence[Prediction], names: Sequence[str], first: Difference, units: Units
) -> Panel:
    rpm = first.rpm
    curves = []
    for at, (one, name) in enumerate(zip(builds, names, strict=True)):
        torque = units.shown(1.0, "lb-ft") * np.where(one.supported(rpm), one.torque(rpm), np.nan)
        letter = _LETTERS[at]
        curves.append(
            Curve(
                tuple(rpm.tolist()), tuple(torque.tolist()), style=at, label=letter,
                at=0.1 + 0.8 * at / len(names), name=f"{letter}  {name}",
            )
        )  # fmt: skip
    return Panel(units.torque_axis, tuple(curves))


def _differences(found: Sequence[Difference], units: Units) -> Panel:
    curves, marks = [], []
    alone = len(found) == 1
    for at, one in enumerate(found, start=1):
        supported = np.array(one.supported)
        shown = [units.between(point, "lb-ft") for point in one.curve]
        value, low, high = (_known(shown, end, supported) for end in ("value", "low", "high"))
        limited = one.calibrated
        curves.append(
            Curve(
                tuple(one.rpm.tolist()), value, low if limited else (), high if limited else (),
                NEUTRAL if alone else at, f"A minus {_LETTERS[at]}",
                0.2 + 0.6 * (at - 1) / len(found),
            )
        )  # fmt: skip
        crossings = one.crossovers if len(one.crossovers) <= _MOST_CROSSINGS else ()
        marks += [Mark(c.value, 0.0, f"{figures.speed(c.value)} rpm", 1) for c in crossings]
    others = "B" if alone else "the other"
    title = f"A minus {others}, {units.torque} ({units.standard})"
    return Panel(title, tuple(curves), tuple(marks), zero=True)


def _known(points: Sequence[Between], end: str, supported: NDArray[np.bool_]) -> tuple[float, ...]:
    """Return one end of limits where it was tested, else no number."""
    values = np.array([getattr(point, end) for point in points], dtype=float)
    return tuple(np.where(supported, values, np.nan).tolist())


def _shares(shares: Shares, units: Units, *, made_same: bool) -> Panel:
    """Return the share of each group of parts as a bar with its limits, the largest on top."""
    parts = sorted(shares.parts.items(), key=lambda one: -abs(one[1].value))
    bars = [Bar(name, *units.between(one, "lb-ft")) for name, one in parts]
    left = units.shown(shares.unexplained, "lb-ft")
    before = ", before parts were made the same" if made_same else ""
    title = f"share of A minus B, mean over the band,\n{units.torque}{before}"
    return Panel(title, bars=(*bars, Bar("not explained", left, hollow=True)), zero=True)
