"""An explanation described as a chart: what each group of parts adds over engine speed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.drawings.chart import Chart, Curve, Panel
from pullbook.text.explanation_text import DWARFS, by_size, origin

if TYPE_CHECKING:
    from pullbook.model.answers.explain import Explanation
    from pullbook.words.units import Units

#: Room above the largest part, as a share of it.
_ROOM = 1.08


def of_parts(found: Explanation, units: Units) -> Chart:
    """Return what each group of parts adds over engine speed, one panel for each group.

    All share one scale, except for the largest where it would dwarf the others; its panel says so.
    """
    order = by_size(found)
    parts = {name: units.shown(1.0, "lb-ft") * found.parts[name] for name in order}
    reach = [_ROOM * float(np.abs(parts[name]).max()) + 1e-6 for name in order]
    dwarfs = reach[0] > DWARFS * max(reach[1:], default=reach[0])
    shared = max(reach[1:]) if dwarfs else max(reach)
    rpm = tuple(found.rpm.tolist())
    panels = []
    for at, (name, part) in enumerate(parts.items()):
        alone = dwarfs and at == 0
        end = reach[0] if alone else shared
        area = Curve(
            rpm, tuple(part.tolist()), tuple(np.minimum(part, 0.0).tolist()),
            tuple(np.maximum(part, 0.0).tolist()),
        )  # fmt: skip
        title = f"{name}{' (own scale)' if alone else ''}"
        panels.append(Panel(title, (area,), zero=True, height=(-end, end)))
    added = f"torque added to {origin(found)}, {units.torque} at the flywheel ({units.standard})"
    return Chart(
        f"{found.sheet_id}: what each group of parts adds",
        (added,),
        tuple(panels),
        f"What each group of parts adds over engine speed; most: {order[0]}.",
        columns=2,
    )
