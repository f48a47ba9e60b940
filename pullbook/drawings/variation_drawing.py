"""What a field of a build does, described as a chart."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.drawings.chart import BETWEEN, NEUTRAL, Bar, Chart, Curve, Panel, Region
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.standing import Standing
from pullbook.text.variation_text import fields
from pullbook.words.figures import level, sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pullbook.model.choices.variant import Variant
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.answer import Between
    from pullbook.words.units import Units

#: Styles of builds are as many.
_STYLES = 4
#: Where along their lines the first variant, the build itself and the last variant are named.
_FIRST_AT, _OWN_AT, _LAST_AT = 0.12, 0.45, 0.85


def of_variants(
    base: Prediction,
    found: Sequence[Variant],
    rpm: NDArray[np.float64],
    units: Units,
) -> Chart:
    """Return the curves of the variants, and below them the band's mean against the field.

    Parameters
    ----------
    base
        The build as it is.
    found
        The build with other values, in their order.
    rpm
        Engine speeds to draw, rev/min.
    units
        Units to draw in.

    """
    names, band = fields(found), found[0].difference.over
    grey = f"grey: the band, {band[0]:.0f} to {band[1]:.0f} rpm"
    notes = ["predicted torque at the flywheel", grey]
    if len(found) > 2:
        notes.append("thin lines: the values between")
    if found[0].difference.calibrated:
        limits = f"{level(found[0].difference.level)} limits"
        drawn = _second(found) is None or not FIELDS[next(iter(found[0].values))].numeric
        notes.append(f"below: the change{f' with its {limits}' if drawn else ''}")
        if not drawn:
            notes.append(f"{limits} of each change: in the table")
    if any(_is_outside(one) for one in found):
        notes.append("dotted: outside the data")
    return Chart(
        f"{sentence(names)} varied",
        tuple(notes),
        (_curves(base, found, band, rpm, units), _against_field(found, band, units)),
        f"Torque curves for each {names}, and the mean over the band.",
    )


def _is_outside(one: Variant) -> bool:
    return one.found.standing is Standing.OUTSIDE


def _curves(
    base: Prediction,
    found: Sequence[Variant],
    band: tuple[float, float],
    rpm: NDArray[np.float64],
    units: Units,
) -> Panel:
    last = len(found) - 1
    asked = (base, *(one.found for one in found))
    rpm = rpm[np.any([one.supported(rpm) for one in asked], axis=0)]

    def curve(one: Prediction, style: int, label: str = "", at: float = 0.5) -> Curve:
        torque = np.where(one.supported(rpm), one.torque(rpm), np.nan)
        shown = tuple((units.shown(1.0, "lb-ft") * torque).tolist())
        return Curve(tuple(rpm.tolist()), shown, style=style, label=label, at=at,
                     outside=one.standing is Standing.OUTSIDE)  # fmt: skip

    between = [curve(one.found, BETWEEN) for one in found[1:last]]
    ends = [curve(found[0].found, 0, _label(found, 0, units), _FIRST_AT)]
    if last:
        ends.append(curve(found[last].found, 1, _label(found, last, units), _LAST_AT))
    ends.append(curve(base, NEUTRAL, "the build", _OWN_AT))
    ends = [replace(one, below=_is_under(one, ends)) for one in ends]
    return Panel(units.torque_axis, (*between, *ends), regions=(Region(*band, hatched=False),))


def _is_under(one: Curve, others: Sequence[Curve]) -> bool:
    """Whether another curve runs above the place where this one is named."""
    place = int(one.at * (len(one.x) - 1))
    return any(other.y[place] > one.y[place] for other in others if other is not one)


def _against_field(found: Sequence[Variant], band: tuple[float, float], units: Units) -> Panel:
    """Return the mean over the band against the first field, a line for each of the second's."""
    title = (
        f"mean from {band[0]:.0f} to {band[1]:.0f} rpm minus the build,"
        f" {units.torque} ({units.standard})"
    )
    apart = [units.between(one.difference.mean, "lb-ft") for one in found]
    names = list(found[0].values)
    if not FIELDS[names[0]].numeric:
        bars = tuple(Bar(_label(found, at, units), *mean) for at, mean in enumerate(apart))
        return Panel(title, bars=bars, zero=True)
    second = _second(found)
    groups: dict[Any, list[tuple[float, Between]]] = {}
    for one, mean in zip(found, apart, strict=True):
        x = units.shown(one.values[names[0]], FIELDS[names[0]].unit)
        groups.setdefault(one.values[second] if second else None, []).append((x, mean))
    curves = []
    for at, (value, own) in enumerate(groups.items()):
        limited = second is None and all(mean.low is not None for _, mean in own)
        curves.append(
            Curve(
                tuple(x for x, _ in own),
                tuple(mean.value for _, mean in own),
                _ends(own, "low") if limited else (),
                _ends(own, "high") if limited else (),
                at % _STYLES,
                "" if second is None else units.named(second, value),
                (at + 1) / len(groups),
                dots=True,
            )
        )
    curves = [replace(one, below=_is_under(one, curves)) for one in curves]
    return Panel(title, tuple(curves), zero=True, x_title=units.axis(names[0]))


def _second(found: Sequence[Variant]) -> str | None:
    """Return the second of two fields that make a grid; none for fields that go together."""
    names = list(found[0].values)
    grid = len({one.values[names[-1]] for one in found}) < len(found)
    return names[1] if grid and len(names) > 1 else None


def _label(found: Sequence[Variant], at: int, units: Units) -> str:
    """Return the values of a variant that were asked for, without their names."""
    second = _second(found)
    names = [next(iter(found[at].values)), *([second] if second else [])]
    return ", ".join(units.field(name, found[at].values[name]) for name in names)


def _ends(own: Sequence[tuple[float, Between]], end: str) -> tuple[float, ...]:
    return tuple(getattr(mean, end) for _, mean in own)
