"""A comparison of builds as an answer sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.answer_sheets import customer_sheet
from pullbook.text.comparison_text import crossings, limits, rows, signed, verdict

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from matplotlib.figure import Figure

    from pullbook.model.answers.compare_several import Comparison
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.text.units import Units


def page(
    found: Comparison,
    draw: Callable[[], Figure],
    sheets: Sequence[Build],
    manifest: Mapping[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a comparison."""
    said = " ".join(verdict(one) for one in found.differences)
    alt = f"Torque of the builds over engine speed, and their difference with its limits. {said}"
    made = customer_sheet.begin(" and ".join(found.names), draw, alt)
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
            [f"{rpm:.0f}", signed(point), limits(point)]
            for rpm, point, known in zip(one.rpm.tolist(), shown, one.supported, strict=True)
            if known
        ])  # fmt: skip
    customer_sheet.builds(made, sheets, units)
    return customer_sheet.close(made, manifest)
