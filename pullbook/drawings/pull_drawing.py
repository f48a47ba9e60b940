"""A measured pull, described as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.drawings.chart import Chart, Curve, Panel
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT

if TYPE_CHECKING:
    from pullbook.model.trained.pulls import Pull
    from pullbook.words.units import Units


def of_pull(pull: Pull, units: Units) -> Chart | None:
    """Return torque and power as measured, at the reference condition; ``None`` without any."""
    if len(pull.rpm) < 2:
        return None
    order = np.argsort(pull.rpm, kind="stable")
    rpm, torque = pull.rpm[order], pull.torque[order]
    power = torque * rpm / TORQUE_POWER_CONSTANT
    x = tuple(rpm.tolist())
    heights = (
        tuple((units.shown(1.0, unit) * values).tolist())
        for unit, values in (("lb-ft", torque), ("hp", power))
    )
    curves = tuple(
        Curve(x, y, style=style, label=label, at=at, right=style == 1)
        for style, (y, label, at) in enumerate(
            zip(heights, ("torque", "power"), (0.15, 0.7), strict=True)
        )
    )
    panel = Panel(
        units.torque_axis, curves, right_title=units.power_axis, same_scale=not units.metric
    )
    top = int(np.argmax(torque))
    most = f"most torque {units.shown(torque[top], 'lb-ft'):.0f} {units.torque}"
    alt = f"Measured torque and power over engine speed; {most} at {rpm[top]:.0f} rpm."
    return Chart(f"{pull.sheet.sheet_id}: as measured", ("as measured, at SAE J1349",), (panel,),
                 alt)  # fmt: skip
