"""What a field does, as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.units import Units
from pullbook.text.variation_text import leaving, named, table_cells, trade

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from matplotlib.figure import Figure

    from pullbook.model.answers.vary import Variant
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page


def page(
    base: Build,
    found: Sequence[Variant],
    draw: Callable[[], Figure],
    band: tuple[float, float],
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a build that was varied."""
    names = " and ".join(found[0].values)
    said = " ".join(trade(found, units))
    alt = f"Torque curves for each {names}, and the mean over the band. {said}"
    made = customer_sheet.begin(f"{base.sheet_id}: {names} varied", draw, alt)
    made.heading(f"Mean torque from {band[0]:.0f} to {band[1]:.0f} rpm")
    made.table(
        [names, units.torque, "against the build", "limits", "peak torque", "peak power", "stands"],
        [
            [named(one.values, units), *table_cells(one, units)[:5], one.found.standing.value]
            for one in found
        ],
    )
    for line in [*trade(found, units), *leaving(found, units)]:
        made.text(line)
    customer_sheet.builds(made, [base], units)
    return customer_sheet.close(made, manifest)
