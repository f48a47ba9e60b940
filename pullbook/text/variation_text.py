"""What a field of a build does, as a builder reads it in a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.limits.pair_kinds import ONE_SHOP
from pullbook.schemas.standing import Standing
from pullbook.text import prediction_text
from pullbook.text.comparison_text import clear_speeds
from pullbook.words import figures
from pullbook.words.columns import columns
from pullbook.words.units import label

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.choices.variant import Variant
    from pullbook.pipeline.values.sheet import Build
    from pullbook.words.units import Units


def named(values: Mapping[str, Any], units: Units) -> str:
    """Return the values of a variant as a name, in the units that are shown."""
    return ", ".join(units.named(name, value) for name, value in values.items())


def values(one: Variant, units: Units) -> str:
    """Return the values of a variant without the names of the fields."""
    return ", ".join(units.field(name, value) for name, value in one.values.items())


def fields(found: Sequence[Variant]) -> str:
    """Return the varied fields in words, and those that move with them."""
    return " and ".join(label(name) for name in found[0].values)


def text(
    base: Build,
    found: Sequence[Variant],
    manifest: Mapping[str, Any],
    units: Units,
) -> str:
    """Return variants as lines for the terminal."""
    lines = [
        prediction_text.wrap(f"{base.sheet_id}: {fields(found)} varied, means {over(found)}"),
        prediction_text.wrap(units.condition),
        "",
    ]
    lines += _tables(found, units)
    lines += [prediction_text.wrap(line) for line in notes(found, units)]
    return "\n".join([*lines, "", prediction_text.source(manifest),
                      prediction_text.wrap(prediction_text.CAUTION, "")])  # fmt: skip


def over(found: Sequence[Variant]) -> str:
    """Return the engine speeds that the means are over."""
    one = found[0].difference
    return figures.over(one.over, one.band)


#: How many of the cells of a row are means over the band.
_MEANS = 6


def _tables(found: Sequence[Variant], units: Units) -> list[str]:
    """Return the means as one table and what is highest as another, so that lines stay short."""
    names = [f"{values(one, units)}{' (yours)' if one.is_base else ''}" for one in found]
    heads, cells = headings(found, units), [table_cells(one, units) for one in found]
    first = fields(found) if len(found[0].values) == 1 else ""
    means = columns(first, names, heads[:_MEANS], [row[:_MEANS] for row in cells])
    highest = columns(first, names, heads[_MEANS:], [row[_MEANS:] for row in cells])
    return [*means, "", *highest, ""]


def headings(found: Sequence[Variant], units: Units) -> list[str]:
    """Return the headings over the cells of `table_cells`."""
    level = f"{figures.level(found[0].difference.level)}"
    return [f"mean {units.torque}", f"change, {units.torque}", f"change, {level} limits",
            f"mean {units.power}", f"change, {units.power}", f"change, {level} limits",
            f"highest {units.torque} at rpm", f"highest {units.power} at rpm", "data"]  # fmt: skip


def row_name(name: str, one: Variant) -> str:
    """Return the name of a variant's row; that of the build itself is marked."""
    return f"{name} (your build)" if one.is_base else name


def table_cells(one: Variant, units: Units) -> list[str]:
    """Return the cells of a variant's row."""
    mean, apart = (units.between(v, "lb-ft") for v in (one.mean, one.difference.mean))
    power, more = (units.between(v, "hp") for v in (one.power, one.difference.power))
    peaks = [
        prediction_text.short_peak(units.peak(peak, unit))
        for peak, unit in ((one.peaks.torque, "lb-ft"), (one.peaks.power, "hp"))
    ]
    place = one.found.standing.value
    if not one.swept:
        return ["not tested", "", "", "", "", "", *peaks, place]
    if one.is_base:
        return [f"{mean.value:.0f}", "-", "-", f"{power.value:.0f}", "-", "-", *peaks, place]
    return [f"{mean.value:.0f}", figures.difference(apart.value), figures.difference_limits(apart),
            f"{power.value:.0f}", figures.difference(more.value), figures.difference_limits(more),
            *peaks, place]  # fmt: skip


def notes(found: Sequence[Variant], units: Units) -> list[str]:
    """Return what stands below the table."""
    peaks = [peak for one in found for peak in one.peaks if peak is not None]
    ends = [prediction_text.END_EXPLAINED] if any(peak.at_end for peak in peaks) else []
    return [*trade(found, units), *leaving(found, units), *explained(found), *ends]


def explained(found: Sequence[Variant]) -> list[str]:
    """Return what a change is, what is in its limits, and from when on it is clear."""
    about = (
        "Change: what this engine makes with the other value minus what it makes as it is, on one"
        " dyno."
    )
    if not any(one.difference.calibrated for one in found):
        return [about]
    scatter = (
        "Its limits are those of two engines, and wide: no engine was tested again with other"
        " parts, which would tell what a change does."
        if found[0].difference.shared == ONE_SHOP
        else "Its limits include the scatter from one mounting on the dyno to the next."
    )
    return [f"{about} {scatter}", figures.clear(found[0].difference.level)]


def trade(found: Sequence[Variant], units: Units) -> list[str]:
    """Return what the furthest variants gain and lose against the build, and where."""
    lines = []
    for one in (found[0], found[-1]) if len(found) > 1 else found:
        if not one.swept or one.is_base:
            continue
        apart = one.difference
        at = np.array([point.value for point in apart.curve])[np.array(apart.supported)]
        if not len(at) or np.abs(at).max() < 0.05:
            continue
        name = figures.sentence(named(one.values, units))
        if len(apart.crossovers) == 1:
            cross = figures.speed(apart.crossovers[0].value)
            what = ("is predicted lower below and higher above" if at[-1] > at[0] else
                    "is predicted higher below and lower above")  # fmt: skip
            lines.append(f"{name} {what} {cross} rpm. {_sure(one)}")
        elif not apart.crossovers:
            what = "higher" if at.mean() > 0 else "lower"
            lines.append(f"{name} is predicted {what} over the whole band. {_sure(one)}")
        else:
            where = ", ".join(figures.speed(cross.value) for cross in apart.crossovers)
            lines.append(f"{name} crosses the build's curve at {where} rpm. {_sure(one)}")
    return lines


def _sure(one: Variant) -> str:
    apart = one.difference
    if apart.chance is None or not apart.calibrated:
        return "How sure that is takes more tests to hold out."
    more = apart.mean.value > 0
    share = figures.percent(apart.chance if more else 1 - apart.chance)
    if one.found.standing is Standing.OUTSIDE:
        return f"It is {prediction_text.NO_CHANCE}."
    chance = f"{share} chance that it makes {'more' if more else 'less'}"
    if apart.told_apart:
        return f"Over the band the difference is clear ({chance})."
    if where := clear_speeds(apart, "it", "your build"):
        return (
            f"{figures.sentence(where)}; over the whole band the difference is not clear"
            f" ({chance})."
        )
    return f"Over the band there is no clear difference ({chance})."


def leaving(found: Sequence[Variant], units: Units) -> list[str]:
    """Return which variants were tested too little of the band, and which leave the data, why."""
    lines = []
    for one in found:
        if not one.swept:
            part = "none of it" if one.tested is None else (
                f"only {one.tested[0]:.0f} to {one.tested[1]:.0f} rpm of it")  # fmt: skip
            name = figures.sentence(named(one.values, units))
            lines.append(f"{name}: such builds were tested over too little of the band, {part}.")
    by_reason: dict[tuple[str, str], list[Variant]] = {}
    for one in found:
        if one.found.standing is not Standing.INSIDE:
            why = prediction_text.reasons(one.found.reasons, units)[0]
            place = prediction_text.PLACE[one.found.standing.value]
            by_reason.setdefault((place, why), []).append(one)
    for (place, why), some in by_reason.items():
        who = "All of these are" if len(some) == len(found) > 1 else (
            f"{figures.sentence(figures.listed([named(one.values, units) for one in some]))}"
            f" {'is' if len(some) == 1 else 'are'}")  # fmt: skip
        lines.append(f"{who} {place}: {why}.")
    return lines
