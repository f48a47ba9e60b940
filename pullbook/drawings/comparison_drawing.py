"""Builds compared, described as a chart: their torque, and the difference with its own limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.drawings import beside_curves
from pullbook.drawings.chart import NEUTRAL, Bar, Chart, Curve, Mark, Panel
from pullbook.model.limits.pair_kinds import ONE_SHOP, TWO_SHOPS
from pullbook.text import comparison_text
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pullbook.model.comparison.difference import Difference
    from pullbook.model.comparison.measured_difference import Shares
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.answer import Between
    from pullbook.schemas.on_request import Load
    from pullbook.words.units import Units

#: With more crossovers than this, as of measured curves that are alike, none is marked.
_MOST_CROSSINGS = 3
_LETTERS = "ABCD"
#: Where along a curve its label may stand.
_LABELS = (0.25, 0.12, 0.4, 0.6, 0.75, 0.88)


def of_differences(
    builds: Sequence[Prediction],
    found: Sequence[Difference],
    units: Units,
    shares: Shares | None = None,
    *,
    made_same: bool = False,
    loads: Sequence[Load] = (),
    title: str = "",
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
    loads
        What torque must clear.
    title
        What the chart shows, if it is more than a comparison.

    """
    names = [found[0].names[0], *(one.names[1] for one in found)]
    panels = [_torque(builds, names, found[0], units, loads), _differences(found, units)]
    if shares is not None:
        panels.append(_shares(shares, units, made_same=made_same))
    count = "Two" if len(builds) == 2 else "Several"
    how = {m for one in found for m in one.measured}
    origin = " or ".join("measured" if one else "predicted" for one in sorted(how, reverse=True))
    verdicts = [comparison_text.verdict(one, "BCD"[at]) for at, one in enumerate(found)]
    alt = "Torque of the builds over engine speed, and their difference with its limits."
    return Chart(
        title or f"{count} builds compared",
        (
            f"{origin} torque at the flywheel",
            _limits(found, short=shares is not None),
            *beside_curves.notes(loads, units),
        ),
        tuple(panels),
        f"{alt} {' '.join(verdicts)}",
    )


def _limits(found: Sequence[Difference], *, short: bool) -> str:
    if not found[0].calibrated:
        return "no limits: too few shops or engines"
    kinds = {one.shared for one in found}
    dyno = "each run again"
    if TWO_SHOPS in kinds:
        dyno = "two shops' dynos"
    elif ONE_SHOP in kinds:
        dyno = "one shop's dyno"
    text = f"shaded: {figures.level(found[0].level)} limits of the difference, {dyno}"
    return text.replace(", ", ",\n") if short else text  # names of bars leave less room


def _torque(
    builds: Sequence[Prediction], names: Sequence[str], first: Difference, units: Units,
    loads: Sequence[Load],
) -> Panel:  # fmt: skip
    rpm, scale = first.rpm, units.shown(1.0, "lb-ft")
    drawn = [scale * np.where(one.supported(rpm), one.torque(rpm), np.nan) for one in builds]
    curves = []
    for at, (torque, name) in enumerate(zip(drawn, names, strict=True)):
        letter, place = _LETTERS[at], (at + 0.5) / len(names)
        here = _place(np.isfinite(torque), place)
        curves.append(
            Curve(
                tuple(rpm.tolist()), tuple(torque.tolist()), style=at, label=letter,
                at=place, name=f"{letter}  {name}",
                below=any(other[here] > torque[here] for other in drawn),
            )
        )  # fmt: skip
    curves += beside_curves.lines(loads, (float(rpm[0]), float(rpm[-1])), units)
    return Panel(units.torque_axis, tuple(curves))


def _place(known: NDArray[np.bool_], at: float) -> int:
    """Return the place of a label in a curve that is known at some speeds."""
    places = np.flatnonzero(known)
    return int(places[int(at * (len(places) - 1))]) if len(places) else 0


def _differences(found: Sequence[Difference], units: Units) -> Panel:
    curves = []
    alone = len(found) == 1
    crossings = [c.value for one in found if len(one.crossovers) <= _MOST_CROSSINGS
                 for c in one.crossovers]  # fmt: skip
    marks = [Mark(rpm, 0.0, f"{figures.speed(rpm)} rpm", 1) for rpm in crossings]
    taken = [*crossings]
    for at, one in enumerate(found, start=1):
        supported = np.array(one.supported)
        shown = [units.between(point, "lb-ft") for point in one.curve]
        value, low, high = (_known(shown, end, supported) for end in ("value", "low", "high"))
        limited = one.calibrated
        label = _clear_of(taken, one.rpm, supported)
        taken.append(float(one.rpm[_place(supported, label)]))
        curves.append(
            Curve(
                tuple(one.rpm.tolist()), value, low if limited else (), high if limited else (),
                NEUTRAL if alone else at, f"A minus {_LETTERS[at]}",
                label,
            )
        )  # fmt: skip
    others = "B" if alone else "the other"
    title = f"A minus {others}, {units.torque} ({units.standard})"
    return Panel(title, tuple(curves), tuple(marks), zero=True)


def _clear_of(taken: Sequence[float], rpm: NDArray[np.float64], known: NDArray[np.bool_]) -> float:
    """Return where along a curve a label is farthest from speeds that are taken."""
    return max(
        _LABELS,
        key=lambda at: min((abs(rpm[_place(known, at)] - one) for one in taken), default=0.0),
    )


def _known(points: Sequence[Between], end: str, supported: NDArray[np.bool_]) -> tuple[float, ...]:
    """Return one end of limits where it was tested, else no number."""
    values = np.array([getattr(point, end) for point in points], dtype=float)
    return tuple(np.where(supported, values, np.nan).tolist())


def _shares(shares: Shares, units: Units, *, made_same: bool) -> Panel:
    """Return the share of each group of parts as a bar with its limits, the largest on top."""
    parts = sorted(shares.parts.items(), key=lambda one: -abs(one[1].value))
    bars = [Bar(name, *units.between(one, "lb-ft")) for name, one in parts]
    left = units.shown(shares.unexplained, "lb-ft")
    rest = (Bar("not explained", left, hollow=True),) if left else ()
    before = ", before parts were made the same" if made_same else ""
    title = f"share of A minus B, mean over the band,\n{units.torque}{before}"
    return Panel(title, bars=(*bars, *rest), zero=True)
