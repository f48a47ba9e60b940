"""What is read off a chart at any engine speed: its own numbers, for the page's script."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

from pullbook.charts.svg_frame import NARROW, WIDE

if TYPE_CHECKING:
    from pullbook.drawings.chart import Chart, Numbers


def as_json(chart: Chart) -> str:
    """Return curves with their limits and where their drawings begin and end, as JSON."""
    panels = [panel for panel in chart.panels if panel.curves]
    low, high = chart.speeds
    room = any(panel.right_title for panel in panels)
    return json.dumps(
        {
            "speeds": [low, high],
            "shapes": {
                shape.name: [
                    shape.width, shape.left, shape.width - (shape.left if room else shape.right)
                ]
                for shape in (WIDE, NARROW)
            },
            "curves": [
                {
                    "name": curve.label or curve.name or panel.title.split(",")[0],
                    "unit": _unit(panel.right_title if curve.right else panel.title),
                    "x": curve.x,
                    "y": _known(curve.y),
                    "low": _known(curve.low),
                    "high": _known(curve.high),
                }
                for panel in panels
                for curve in panel.curves
            ],
        },
        separators=(",", ":"),
    )  # fmt: skip


def _unit(title: str) -> str:
    return title.rsplit(", ", maxsplit=1)[-1].split(" (", maxsplit=1)[0]


def _known(values: Numbers) -> list[float | None]:
    return [round(value, 1) if math.isfinite(value) else None for value in values]
