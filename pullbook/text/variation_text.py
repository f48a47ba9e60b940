"""What a field of a build does: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.answers.vary import name_of
from pullbook.schemas.answer import Standing
from pullbook.text import prediction_text
from pullbook.text.units import Units

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.answers.vary import Variant
    from pullbook.pipeline.values.sheet import Build


def named(values: Mapping[str, Any], units: Units) -> str:
    """Return the values of a variant as a name, in the units that are shown."""
    if units is Units.INCH:
        return name_of(values)
    return ", ".join(f"{name} {units.field(name, value)}" for name, value in values.items())


def text(
    base: Build,
    found: Sequence[Variant],
    band: tuple[float, float],
    manifest: Mapping[str, Any],
    units: Units,
) -> str:
    """Return variants as lines for the terminal."""
    level = f"{100 * found[0].difference.level:g} %"
    lines = [f"{base.sheet_id}, varied; mean torque from {band[0]:.0f} to {band[1]:.0f} rpm", ""]
    width = max(len(named(one.values, units)) for one in found)
    heads = [f"mean {units.torque}", "against the build", f"{level} limits", "peak torque",
             "peak power"]  # fmt: skip
    lines.append(f"{'':{width}}  {heads[0]:>10}  {heads[1]:>17}  {heads[2]:>16}  {heads[3]:>14}"
                 f"  {heads[4]:>14}")  # fmt: skip
    for one in found:
        cells = table_cells(one, units)
        name = f"{named(one.values, units):{width}}"
        lines.append(f"{name}  {cells[0]:>10}  {cells[1]:>17}  {cells[2]:>16}  {cells[3]:>14}"
                     f"  {cells[4]:>14}  {cells[5]}".rstrip())  # fmt: skip
    lines.append("")
    for line in [*trade(found, units), *leaving(found, units)]:
        lines.append(prediction_text.wrap(line))
    return "\n".join([*lines, "", prediction_text.source(manifest),
                      prediction_text.wrap(prediction_text.CAUTION, "")])  # fmt: skip


def table_cells(one: Variant, units: Units) -> list[str]:
    """Return the cells of a variant's row."""
    mean, apart = (units.between(v, "lb-ft") for v in (one.mean, one.difference.mean))
    limits = "none" if apart.low is None or apart.high is None else (
        f"{apart.low:+.1f} to {apart.high:+.1f}")  # fmt: skip
    peaks = []
    for peak, unit in ((one.peaks.torque, "lb-ft"), (one.peaks.power, "hp")):
        shown = units.peak(peak, unit)
        peaks.append("not swept" if shown is None else
                     f"{shown.height.value:.0f} at {shown.rpm.value:.0f}")  # fmt: skip
    standing = one.found.standing
    if not one.swept:
        return ["not swept", "", "", *peaks, "" if standing is Standing.INSIDE else standing.value]
    return [f"{mean.value:.1f}", f"{apart.value:+.1f}", limits, *peaks,
            "" if standing is Standing.INSIDE else standing.value]  # fmt: skip


def trade(found: Sequence[Variant], units: Units) -> list[str]:
    """Return what the furthest variants gain and lose against the build, and where."""
    said_ = []
    for one in (found[0], found[-1]) if len(found) > 1 else found:
        if not one.swept:
            continue
        apart = one.difference
        at = np.array([point.value for point in apart.curve])[np.array(apart.supported)]
        if not len(at) or np.abs(at).max() < 0.05:
            continue
        name = named(one.values, units)
        if len(apart.crossovers) == 1:
            cross = apart.crossovers[0].value
            what = ("loses below and gains above" if at[-1] > at[0] else
                    "gains below and loses above")  # fmt: skip
            said_.append(f"{name} {what} {cross:.0f} rpm. {_sure(one)}")
        elif not apart.crossovers:
            said_.append(f"{name} {'gains' if at.mean() > 0 else 'loses'} all over the band."
                         f" {_sure(one)}")  # fmt: skip
        else:
            where = ", ".join(f"{cross.value:.0f}" for cross in apart.crossovers)
            said_.append(f"{name} crosses the build's curve at {where} rpm. {_sure(one)}")
    return said_


def _sure(one: Variant) -> str:
    apart = one.difference
    if apart.chance is None or not apart.calibrated:
        return "There are too few shops to say how sure that is."
    if apart.told_apart:
        return "Over the band the data can tell the two apart."
    return (
        "Over the band the data cannot tell the two apart: it makes more in"
        f" {100 * apart.chance:.0f} of 100."
    )


def leaving(found: Sequence[Variant], units: Units) -> list[str]:
    """Return where the variants leave what was tested, and what is not found together."""
    said_ = []
    for one in found:
        if not one.swept:
            said_.append(
                f"{named(one.values, units)}: no such build was swept over the whole band."
            )
        if one.found.standing is Standing.OUTSIDE:
            said_.append(
                f"{named(one.values, units)} stands OUTSIDE: {one.found.reasons[0].message}."
            )
    return said_
