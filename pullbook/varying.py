"""What a field of a build does: as text, as a picture, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from model.standing import Standing
from model.vary import VaryError, name_of
from pullbook import answer_sheet, answer_text
from pullbook.unit_choice import Units
from schemas.fields import BUILD_FIELDS, FIELDS, Kind

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from matplotlib.figure import Figure

    from model.prediction import Prediction
    from model.vary import Variant
    from pipeline.sheet import Sheet
    from pullbook.page import Page

_MOST_VALUES = 100
_MOST_FIELDS = 2


def ranges(given: Sequence[str]) -> dict[str, list[Any]]:
    """Return the values that ``field=low:high:step`` or ``field=one,another`` mean, by field.

    Raises
    ------
    VaryError
        A field does not exist, is not part of a build, or its values make no sense.

    """
    if not 0 < len(given) <= _MOST_FIELDS:
        msg = "name one or two fields to vary, as --field intake_duration=204:246:6"
        raise VaryError(msg)
    found: dict[str, list[Any]] = {}
    for text in given:
        name, _, values = text.partition("=")
        name = name.strip().replace(" ", "_").replace("-", "_").casefold()
        field = _field(name)
        if name in found:
            msg = f"{name} is named twice"
            raise VaryError(msg)
        if field.kind is Kind.CHOICE:
            found[name] = _choices(name, values)
        else:
            found[name] = _numbers(name, values)
        found[name] = list(dict.fromkeys(found[name]))  # each once
    return found


def _field(name: str) -> Any:
    if name not in BUILD_FIELDS:
        near = ", ".join(BUILD_FIELDS)
        msg = f"{name!r} is not a field of a build; fields are {near}"
        raise VaryError(msg)
    if FIELDS[name].kind not in (Kind.CHOICE, Kind.WHOLE, Kind.NUMBER):
        msg = f"{name} is neither a number nor a choice and cannot be varied"
        raise VaryError(msg)
    return FIELDS[name]


def _choices(name: str, text: str) -> list[str]:
    allowed = FIELDS[name].choices
    found = [part.strip() for part in text.split(",") if part.strip()]
    wrong = [part for part in found if part not in allowed]
    if wrong or not found:
        msg = f"{name} can be {', '.join(allowed)}; {text!r} is not a list of these"
        raise VaryError(msg)
    return found


def _numbers(name: str, text: str) -> list[float]:
    try:
        numbers = [float(part) for part in text.replace(":", ",").split(",")]
    except ValueError:
        numbers = []
    if not numbers or (":" in text and len(numbers) != 3):
        msg = f"{name}={text} is neither low:high:step nor a list of numbers, as {name}=1,2,3"
        raise VaryError(msg)
    if ":" not in text:
        return numbers
    low, high, step = numbers
    if not (step > 0 and low <= high and (high - low) / step < _MOST_VALUES):
        msg = f"{name}={text} must rise in at most {_MOST_VALUES} steps"
        raise VaryError(msg)
    count = int((high - low) / step + 1e-9) + 1
    return [round(low + step * at, 6) for at in range(count)]


def ties(given: Sequence[str], leading: str) -> dict[str, float]:
    """Return by how much each tied field moves for each unit of the one that is varied.

    Raises
    ------
    VaryError
        A field does not exist, is no number, or moves in another unit by an unnamed amount.

    """
    found = {}
    for text in given:
        name, _, share = text.partition("=")
        name = name.strip().replace(" ", "_").replace("-", "_").casefold()
        field = _field(name)
        if not field.numeric or not FIELDS[leading].numeric:
            msg = f"{name} cannot move with {leading}: one of the two is not a number"
            raise VaryError(msg)
        if not share and field.unit != FIELDS[leading].unit:
            msg = (
                f"{name} is not in the unit of {leading}; say by how much it moves for each of it,"
                f" as --tie {name}=0.01"
            )
            raise VaryError(msg)
        if name in found:
            msg = f"--tie names {name} twice"
            raise VaryError(msg)
        try:
            found[name] = float(share) if share else 1.0
        except ValueError:
            msg = f"--tie {text}: {share!r} is not a number"
            raise VaryError(msg) from None
    return found


def named(values: Mapping[str, Any], units: Units) -> str:
    """Return the values of a variant as a name, in the units that are shown."""
    if units is Units.INCH:
        return name_of(values)
    return ", ".join(f"{name} {units.field(name, value)}" for name, value in values.items())


def text(
    base: Sheet,
    found: Sequence[Variant],
    band: tuple[float, float],
    told: dict[str, Any],
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
        cells = _cells(one, units)
        name = f"{named(one.values, units):{width}}"
        lines.append(f"{name}  {cells[0]:>10}  {cells[1]:>17}  {cells[2]:>16}  {cells[3]:>14}"
                     f"  {cells[4]:>14}  {cells[5]}".rstrip())  # fmt: skip
    lines.append("")
    for line in [*trade(found, units), *leaving(found, units)]:
        lines.append(answer_text.wrap(line))
    return "\n".join([*lines, "", answer_text.source(told),
                      answer_text.wrap(answer_text.CAUTION, "")])  # fmt: skip


def _cells(one: Variant, units: Units) -> list[str]:
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


def figure(
    base: Prediction,
    found: Sequence[Variant],
    band: tuple[float, float],
    rpm: np.ndarray,
    units: Units,
) -> Figure:
    """Return the curves of the variants, and below them the band's mean against the field."""
    import matplotlib as mpl  # noqa: PLC0415 - for those who want a picture

    from pullbook import chart  # noqa: PLC0415

    drawn, (top, bottom) = chart.panels(shared=False)
    factor = units.shown(1.0, "lb-ft")
    shades = mpl.colormaps["viridis"](np.linspace(0.0, 0.75, len(found)))
    for at, (one, colour) in enumerate(zip(found, shades, strict=True)):
        torque = factor * np.where(one.found.supported(rpm), one.found.torque(rpm), np.nan)
        line = ":" if one.found.standing is Standing.OUTSIDE else "-"
        label = named(one.values, units) if at in (0, len(found) - 1) else None
        top.plot(rpm, torque, color=colour, linewidth=1.6, linestyle=line, label=label)
    own = factor * np.where(base.supported(rpm), base.torque(rpm), np.nan)
    top.plot(rpm, own, color=chart.INK, linewidth=2, linestyle=chart.LINES[1], label="the build")
    top.legend(frameon=False, fontsize=9, loc="best")
    top.axvspan(*band, color=chart.GREY, alpha=0.08, linewidth=0)
    top.set_ylabel(f"torque, {units.torque}")
    top.set_xlabel("engine speed, rpm")
    _against_field(bottom, found, band, units)
    names = " and ".join(found[0].values)
    chart.title(drawn, top, f"Varied: {names}", "dotted: outside what was tested; grey: the band")
    return drawn


def _shown(name: str, value: Any, units: Units) -> Any:
    return units.shown(value, FIELDS[name].unit) if FIELDS[name].numeric else value


def _against_field(axes: Any, found: Sequence[Variant], band: tuple[float, float],
                   units: Units) -> None:  # fmt: skip
    """Draw the mean over the band against the first field, a line for each value of the second."""
    from pullbook import chart  # noqa: PLC0415

    names = list(found[0].values)
    second = names[1] if len({one.values[names[-1]] for one in found}) < len(found) else None
    groups: dict[Any, list[Variant]] = {}
    for one in found:
        groups.setdefault(one.values[second] if second else None, []).append(one)
    for at, (value, own) in enumerate(groups.items()):
        x = [_shown(names[0], one.values[names[0]], units) for one in own]
        apart = [units.between(one.difference.mean, "lb-ft") for one in own]
        colour = chart.COLOURS[at % len(chart.COLOURS)]
        label = None if second is None else f"{second} {value:g}" if isinstance(
            value, int | float) else f"{second} {value}"  # fmt: skip
        axes.plot(x, [one.value for one in apart], marker="o", color=colour, markersize=4,
                  linestyle=chart.LINES[at % len(chart.LINES)], label=label)  # fmt: skip
        if second is None and all(one.low is not None for one in apart):
            axes.fill_between(x, [one.low for one in apart], [one.high for one in apart],
                              color=colour, alpha=0.16, linewidth=0)  # fmt: skip
    if second is not None:
        axes.legend(frameon=False, fontsize=9)
    axes.axhline(0, color=chart.GREY, linewidth=1)
    unit = units.of(FIELDS[names[0]].unit)
    axes.set_xlabel(f"{names[0]}, {unit}" if unit else names[0])
    axes.set_ylabel(f"mean from {band[0]:.0f} to {band[1]:.0f} rpm\nagainst the build,"
                    f" {units.torque}")  # fmt: skip


def page(
    base: Sheet,
    found: Sequence[Variant],
    draw: Callable[[], Figure],
    band: tuple[float, float],
    told: dict[str, Any],
    units: Units,
) -> Page:
    """Return the answer sheet of a build that was varied."""
    names = " and ".join(found[0].values)
    said = " ".join(trade(found, units))
    alt = f"Torque curves for each {names}, and the mean over the band. {said}"
    made = answer_sheet.begin(f"{base.sheet_id}: {names} varied", draw, alt)
    made.heading(f"Mean torque from {band[0]:.0f} to {band[1]:.0f} rpm")
    made.table(
        [names, units.torque, "against the build", "limits", "peak torque", "peak power", "stands"],
        [
            [named(one.values, units), *_cells(one, units)[:5], one.found.standing.value]
            for one in found
        ],
    )
    for line in [*trade(found, units), *leaving(found, units)]:
        made.text(line)
    answer_sheet.builds(made, [base], units)
    return answer_sheet.close(made, told)
