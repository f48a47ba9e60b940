"""What a field of a build does, as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.schemas.fields import FIELDS
from pullbook.schemas.standing import Standing
from pullbook.text.variation_text import fields, named
from pullbook.words.figures import sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from pullbook.model.choices.vary import Variant
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.words.units import Units


def figure(
    base: Prediction,
    found: Sequence[Variant],
    band: tuple[float, float],
    rpm: np.ndarray,
    units: Units,
) -> Figure:
    """Return the curves of the variants, and below them the band's mean against the field."""
    import matplotlib as mpl

    from pullbook.charts import drawing

    drawn, (top, bottom) = drawing.panels(shared=False)
    factor = units.shown(1.0, "lb-ft")
    shades = mpl.colormaps["viridis"](np.linspace(0.0, 0.75, len(found)))
    for at, (one, colour) in enumerate(zip(found, shades, strict=True)):
        torque = factor * np.where(one.found.supported(rpm), one.found.torque(rpm), np.nan)
        line = ":" if one.found.standing is Standing.OUTSIDE else "-"
        label = named(one.values, units) if at in (0, len(found) - 1) else None
        top.plot(rpm, torque, color=colour, linewidth=1.6, linestyle=line, label=label)
    own = factor * np.where(base.supported(rpm), base.torque(rpm), np.nan)
    top.plot(
        rpm, own, color=drawing.INK, linewidth=2, linestyle=drawing.LINES[1], label="the build"
    )
    drawing.legend(drawn, top)
    top.axvspan(*band, color=drawing.GREY, alpha=0.08, linewidth=0)
    top.set_ylabel(units.torque_axis)
    top.set_xlabel("engine speed, rpm")
    _against_field(bottom, found, band, units)
    below = f"predicted torque at the flywheel\ngrey: the band, {band[0]:.0f} to {band[1]:.0f} rpm"
    if any(one.found.standing is Standing.OUTSIDE for one in found):
        below += "; dotted: outside the data"
    drawing.title(drawn, top, f"{sentence(fields(found))} varied", below)
    return drawn


def _shown(name: str, value: Any, units: Units) -> Any:
    return units.shown(value, FIELDS[name].unit) if FIELDS[name].numeric else value


def _against_field(axes: Any, found: Sequence[Variant], band: tuple[float, float],
                   units: Units) -> None:  # fmt: skip
    """Draw the mean over the band against the first field, a line for each value of the second."""
    from pullbook.charts import drawing

    names = list(found[0].values)
    second = names[1] if len({one.values[names[-1]] for one in found}) < len(found) else None
    groups: dict[Any, list[Variant]] = {}
    for one in found:
        groups.setdefault(one.values[second] if second else None, []).append(one)
    for at, (value, own) in enumerate(groups.items()):
        x = [_shown(names[0], one.values[names[0]], units) for one in own]
        apart = [units.between(one.difference.mean, "lb-ft") for one in own]
        colour = drawing.COLOURS[at % len(drawing.COLOURS)]
        label = None if second is None else units.named(second, value)
        axes.plot(x, [one.value for one in apart], marker="o", color=colour, markersize=4,
                  linestyle=drawing.LINES[at % len(drawing.LINES)], label=label)  # fmt: skip
        if second is None and all(one.low is not None for one in apart):
            axes.fill_between(x, [one.low for one in apart], [one.high for one in apart],
                              color=colour, alpha=0.16, linewidth=0)  # fmt: skip
    if second is not None:
        axes.legend(frameon=False, fontsize=9)
    axes.axhline(0, color=drawing.GREY, linewidth=1)
    axes.set_xlabel(units.axis(names[0]))
    axes.set_ylabel(f"mean from {band[0]:.0f} to {band[1]:.0f} rpm\nminus the build,"
                    f" {units.torque} ({units.standard})")  # fmt: skip
