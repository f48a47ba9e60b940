"""Rules for parts that must fit each other: ratios, differences and counts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.pipeline.checks.field_rules import is_refused, is_within
from pullbook.pipeline.loads.ceilings import USUAL_PISTON_SPEED
from pullbook.pipeline.physics import engine_quantities
from pullbook.pipeline.physics.constants import CUBIC_INCH, FOOT, INCH
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pullbook.pipeline.values.sheet import Sheet

    Span = tuple[float, float]

#: A drop of 28 inches of water accelerates air to sqrt(2 p / density) = 107.8 m/s (Bernoulli;
#: 6972 Pa and 1.2 kg/m3), so a square inch passes 147 cfm at most.
_CFM_PER_IN2 = 147.0


@dataclass(frozen=True, slots=True)
class Fit:
    """Two or three fields that must fit each other.

    Attributes
    ----------
    code
        Code of the refusal; the warning ends in ``-unusual``.
    fields
        The fields it needs; all must be given.
    measure
        Returns the measure from the values of the fields.
    words
        The measure in words, for messages.
    can, usual
        A sheet outside ``can`` is refused; one outside ``usual`` gets a warning.
    unit
        The unit of the measure as it stands behind a number; nothing for a ratio.
    """

    code: str
    fields: tuple[str, ...]
    measure: Callable[..., float]
    words: str
    can: Span
    usual: Span
    unit: str = ""


def _ratio(a: float, b: float) -> float:
    return a / b if b else math.inf


def _difference(a: float, b: float) -> float:
    return a - b


def _area(diameter: float) -> float:
    return math.pi / 4 * diameter**2


#: A sheet that does not give the number of valves may have two intake valves per port.
_INTAKE_VALVES = 2

FITS = (
    Fit("bore-stroke", ("bore", "stroke"), _ratio, "bore over stroke", (0.4, 2.6), (0.65, 1.6)),
    Fit("rod-stroke", ("rod_length", "stroke"), _ratio, "rod length over stroke",
        (1.1, 4.0), (1.35, 2.5)),
    Fit("valve-bore", ("intake_valve", "bore"), _ratio, "intake valve over bore",
        (0.15, 0.75), (0.28, 0.62)),
    Fit("valves-bore", ("intake_valve", "exhaust_valve", "bore"),
        lambda i, e, b: _ratio(i + e, b), "the two valves together over bore",
        (0.3, 1.2), (0.5, 1.03)),
    Fit("exhaust-intake-valve", ("exhaust_valve", "intake_valve"), _ratio,
        "exhaust over intake valve", (0.4, 1.5), (0.65, 1.05)),
    Fit("lift-valve", ("intake_lift", "intake_valve"), _ratio, "intake lift over valve",
        (0.05, 0.75), (0.13, 0.42)),
    Fit("lift-valve", ("exhaust_lift", "exhaust_valve"), _ratio, "exhaust lift over valve",
        (0.05, 0.85), (0.13, 0.48)),
    Fit("exhaust-intake-lift", ("exhaust_lift", "intake_lift"), _ratio,
        "exhaust over intake lift", (0.4, 2.2), (0.7, 1.4)),
    Fit("seat-duration", ("intake_duration_seat", "intake_duration"), _difference,
        "advertised intake duration minus that at 0.050 in", (3.0, 160.0), (18.0, 100.0), " deg"),
    Fit("seat-duration", ("exhaust_duration_seat", "exhaust_duration"), _difference,
        "advertised exhaust duration minus that at 0.050 in", (3.0, 160.0), (18.0, 100.0), " deg"),
    Fit("exhaust-intake-duration", ("exhaust_duration", "intake_duration"), _difference,
        "exhaust minus intake duration", (-110.0, 110.0), (-25.0, 40.0), " deg"),
    Fit("centerline-separation", ("intake_centerline", "lobe_separation"), _difference,
        "intake centerline minus lobe separation", (-40.0, 40.0), (-15.0, 15.0), " deg"),
    Fit("port-valve", ("port_csa", "intake_valve"),
        lambda csa, valve: _ratio(csa, _area(valve)), "port cross-section over valve area",
        (0.12, 2.6), (0.3, 2.0)),
    Fit("port-length", ("port_volume", "port_csa"),
        lambda cc, csa: _ratio(cc * 1e-6 / CUBIC_INCH, csa),
        "port volume over cross-section",
        (0.8, 40.0), (2.0, 14.0), " in"),
    Fit("flow-valve", ("intake_flow", "intake_valve"),
        lambda flow, valve: _ratio(flow, _CFM_PER_IN2 * _INTAKE_VALVES * _area(valve)),
        "intake flow over the most that two such valves can pass", (0.03, 1.1), (0.12, 0.9)),
    Fit("exhaust-intake-flow", ("exhaust_flow", "intake_flow"), _ratio,
        "exhaust over intake flow", (0.15, 2.0), (0.45, 1.1)),
    Fit("primary-valve", ("primary_diameter", "exhaust_valve"), _ratio,
        "header primary over exhaust valve", (0.4, 3.0), (0.75, 1.8)),
)  # fmt: skip


def fits(sheet: Sheet) -> Iterator[Finding]:
    """Parts that are all given fit each other."""
    for fit in FITS:
        numbers = [sheet.values.get(name) for name in fit.fields]
        worked_out = not sheet.derived.isdisjoint(fit.fields)
        if None in numbers or (worked_out and is_refused(sheet, _VOLUME)):
            continue
        found = fit.measure(*numbers)
        if fit.usual[0] <= found <= fit.usual[1] or any(is_refused(sheet, n) for n in fit.fields):
            continue
        impossible = not fit.can[0] <= found <= fit.can[1]
        in_mm = fit.unit == " in" and sheet.metric
        scale, unit = (1000 * INCH, " mm") if in_mm else (1.0, fit.unit)
        spans = (fit.usual, fit.can)
        usual, can = (f"{a * scale:.3g} to {b * scale:.3g}{unit} is" for a, b in spans)
        *parts, last = (f"{FIELDS[n].label} ({sheet.shown(n, sheet.number(n) or 0.0)})"
                        for n in fit.fields)  # fmt: skip
        message = (
            f"{fit.words[0].upper()}{fit.words[1:]} is {found * scale:.3g}{unit}; {usual} usual"
            f"{f', {can} possible' if impossible else ''}. Check {', '.join(parts)} and {last}, and"
            " their units."
        )
        name = fit.fields[0]
        code = fit.code if impossible else f"{fit.code}-unusual"
        yield Finding(code, message, name, sheet.rows.get(name), f"{found:.4g}")


def boost(sheet: Sheet) -> Iterator[Finding]:
    """A boosted engine gives its boost, and an engine with boost is not naturally aspirated."""
    aspiration, given = sheet.values.get("aspiration"), sheet.number("boost")
    boosted = aspiration not in (None, "natural")
    if boosted and given is None and not is_refused(sheet, "boost"):
        message = (
            f"Boost is missing, but the engine is {aspiration}. Add the field boost, in psi or with"
            " its own unit: 0.6 bar."
        )
        yield Finding("missing-boost", message, "boost")
    elif not boosted and given is not None and given > _NO_BOOST and not is_refused(sheet, "boost"):
        message = (
            f"Boost is {sheet.shown('boost', given)}, but the engine is naturally aspirated. Set"
            " aspiration to supercharged or turbocharged, or remove boost."
        )
        yield Finding("boost-of-natural", message, "boost", sheet.rows.get("boost"), f"{given:g}")


_NO_BOOST = 0.5


def usual_ratio(octane: float | None) -> float:
    """Return the highest compression ratio usual for gasoline of an octane (common practice).

    >>> usual_ratio(88), usual_ratio(None)
    (11.5, 12.5)
    """
    return 12.5 + 0.25 * ((octane or 92.0) - 92.0)


def knock(sheet: Sheet) -> Iterator[Finding]:
    """The compression ratio is usual for the octane, and the octane for the fuel."""
    if is_refused(sheet, "octane"):
        return
    ratio, octane = sheet.number("compression_ratio"), sheet.number("octane")
    fuel = str(sheet.values.get("fuel") or "gasoline")
    if ratio is not None and sheet.values.get("aspiration") in (None, "natural"):
        most = usual_ratio(octane) if fuel == "gasoline" else 17.0
        if ratio > most:
            message = (
                f"Compression ratio {ratio:g}:1 is high for"
                f" {f'{octane:g} octane ' if octane is not None else ''}{fuel}; up to"
                f" {most:.1f}:1 is usual. Check both."
            )
            yield Finding("compression-fuel-unusual", message, "compression_ratio",
                          sheet.rows.get("compression_ratio"), f"{ratio:g}")  # fmt: skip
    low, high = _OCTANES[fuel]
    if octane is not None and not low <= octane <= high:
        message = (
            f"Octane {octane:g} is unusual for {fuel}; {low:g} to {high:g} is usual, as (R+M)/2."
            " Check both."
        )
        yield Finding("octane-fuel-unusual", message, "octane", sheet.rows.get("octane"))


_OCTANES = {
    "gasoline": (70.0, 118.0),
    "e85": (90.0, 116.0),
    "methanol": (90.0, 125.0),
    "propane": (90.0, 118.0),
}


def size(sheet: Sheet) -> Iterator[Finding]:
    """Bore, stroke and displacement fit each other, and a displacement fits the cylinders."""
    volume, cylinders = sheet.given.get(_VOLUME), sheet.number("cylinders")
    named = (*engine_quantities.SIZE_FIELDS, _VOLUME)
    if not isinstance(volume, int | float) or any(is_refused(sheet, name) for name in named):
        return
    row, found = sheet.rows.get(_VOLUME), f"{volume:.4g}"
    derived, worked_out = sorted(sheet.derived), sheet.displacement
    if derived and not is_within(derived[0], sheet.values[derived[0]]):
        other = next(name for name in engine_quantities.SIZE_FIELDS[:2] if name != derived[0])
        message = (
            f"{sheet.shown(_VOLUME, volume)} with a {other} of"
            f" {sheet.shown(other, sheet.number(other) or 0.0)} would take a {derived[0]} of"
            f" {FIELDS[derived[0]].quantity(sheet.number(derived[0]) or 0.0, 3)}. Check both, the"
            " number of cylinders, and the unit of the displacement."
        )
        yield Finding("displacement-disagrees", message, _VOLUME, row, found)
    elif worked_out is not None and worked_out != volume:
        off = abs(volume / worked_out - 1)
        if off > _ROUNDED:
            impossible = off > _OTHER_ENGINE
            what = " Correct the one that is wrong." if impossible else " Bore and stroke count."
            message = (
                f"Displacement is {sheet.shown(_VOLUME, volume)}, but bore, stroke and"
                f" {cylinders:g} cylinders make {sheet.shown(_VOLUME, worked_out)}.{what}"
            )
            code = "displacement-disagrees" if impossible else "displacement-disagrees-unusual"
            yield Finding(code, message, _VOLUME, row, found)
    elif not derived and cylinders:
        yield from _cylinder_size(sheet, volume, volume / cylinders)


def _cylinder_size(sheet: Sheet, volume: float, each: float) -> Iterator[Finding]:
    """A displacement given alone is one that cylinders have; without a unit, a usual one."""
    can, usual = _CYLINDER
    if usual[0] <= each <= usual[1]:
        return
    in_doubt = _VOLUME in sheet.bare or not can[0] <= each <= can[1]
    low, high = (FIELDS[_VOLUME].quantity(one) for one in (can if in_doubt else usual))
    low = low.partition(" ")[0]
    message = (
        f"Displacement {sheet.shown(_VOLUME, volume)} is {sheet.shown(_VOLUME, each, 3)} a"
        f" cylinder; {low} to {high} is {'possible' if in_doubt else 'usual'}. Write its unit, for"
        " example 350 cu in, 5.7 l or 5735 cc, and check the number of cylinders."
    )
    code = "cylinder-size" if in_doubt else "cylinder-size-unusual"
    yield Finding(code, message, _VOLUME, sheet.rows.get(_VOLUME), f"{volume:.4g}")


_VOLUME = engine_quantities.DISPLACEMENT
#: A displacement may be rounded (5.0 l), or that of the engine before it was bored a size over.
_ROUNDED, _OTHER_ENGINE = 0.0125, 0.04
#: Displacement of one cylinder, in3, that is possible, and that is usual.
_CYLINDER = ((1.0, 400.0), (5.0, 110.0))


def count(sheet: Sheet) -> Iterator[Finding]:
    """A vee or flat engine has an even number of cylinders."""
    cylinders, arrangement = sheet.number("cylinders"), sheet.values.get("arrangement")
    if arrangement in ("vee", "flat") and cylinders is not None and cylinders % 2:
        message = (
            f"A {arrangement} engine usually has an even number of cylinders, and this one has"
            f" {cylinders:g}. Check both."
        )
        yield Finding("cylinders-arrangement-unusual", message, "cylinders",
                      sheet.rows.get("cylinders"))  # fmt: skip


def piston_speed(sheet: Sheet) -> Iterator[Finding]:
    """The mean piston speed at the top of the sweep is one that engines run at."""
    stroke = sheet.number("stroke")
    if (
        stroke is None
        or not sheet.readings
        or is_refused(sheet, "stroke")
        or is_refused(sheet, "rpm")
    ):
        return
    rpm = max(reading.rpm for reading in sheet.readings)
    speed = float(engine_quantities.mean_piston_speed(stroke * INCH, rpm))
    if speed <= _PISTON_SPEED[0]:
        return
    impossible = speed > _PISTON_SPEED[1]
    found, most = (
        f"{one:.3g} m/s" if sheet.metric else f"{round(one * 60 / FOOT, -1):.0f} ft/min"
        for one in (speed, _PISTON_SPEED[impossible])
    )
    message = (
        f"{sheet.shown('stroke', stroke)} of stroke at {rpm:.0f} rpm is a mean piston speed of"
        f" {found}; up to {most} is {'possible' if impossible else 'usual'}. Check the unit of the"
        " stroke, and the rpm."
    )
    yield Finding("piston-speed" if impossible else "piston-speed-unusual", message, "rpm")


#: Mean piston speeds, m/s: the highest that is usual, and the highest that is possible.
_PISTON_SPEED = (USUAL_PISTON_SPEED, 32.0)
