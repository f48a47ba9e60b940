"""Codes of findings: stable names, what follows from each, and what it means."""

from __future__ import annotations

from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping


class Severity(StrEnum):
    """What follows from a finding."""

    REFUSE = "refuse"
    WARN = "warn"
    NOTE = "note"


class Code(NamedTuple):
    """What a code of a finding stands for.

    Attributes
    ----------
    severity
        What follows.
    meaning
        What was found, in a sentence.
    sd
        How much less certain a warned sheet's torque is: a relative standard deviation, by
        which the sheet weighs less in what is learned. Common practice, no source.
    """

    severity: Severity
    meaning: str
    sd: float = 0.0


def _fit(name: str, cannot: str, unusual: str) -> dict[str, Code]:
    return {
        name: Code(Severity.REFUSE, cannot),
        f"{name}-unusual": Code(Severity.WARN, unusual, 0.01),
    }


_REFUSE, _WARN, _NOTE = Severity.REFUSE, Severity.WARN, Severity.NOTE


#: Every code a finding can carry.
CODES: Mapping[str, Code] = MappingProxyType(
    {
        "not-readable": Code(_REFUSE, "the file is not text, or not a workbook, that can be read"),
        "too-large": Code(
            _REFUSE, "the file, its table or what it unpacks to is larger than is read"
        ),
        "no-front-matter": Code(
            _REFUSE, "the sheet file does not open with a block between --- lines"
        ),
        "front-matter-unreadable": Code(_REFUSE, "the front matter is not a plain list of fields"),
        "no-pull": Code(_REFUSE, "the sheet has no table of rpm with torque or power"),
        "pull-without-build": Code(_REFUSE, "the pulls name a sheet that the builds do not have"),
        "repeated-field": Code(_REFUSE, "a field, a heading or a sheet's name occurs twice"),
        "missing": Code(_REFUSE, "a required field is missing"),
        "missing-shop": Code(_REFUSE, "a contributed sheet does not say which shop it is from"),
        "shop-in-clear": Code(_REFUSE, "a sheet to curate still carries the name of its shop"),
        "missing-weather": Code(
            _REFUSE, "observed numbers come without the weather to correct them"
        ),
        "sea-level-barometer": Code(
            _REFUSE, "the barometer cannot be station pressure at that elevation"
        ),
        "missing-boost": Code(_REFUSE, "a boosted engine does not say how much boost"),
        "boost-of-natural": Code(
            _REFUSE, "boost is given for an engine that has nothing to make it"
        ),
        "not-a-number": Code(_REFUSE, "a number was expected"),
        "ambiguous-number": Code(
            _REFUSE, "a comma may mean decimals or thousands, and nothing tells"
        ),
        "more-cells-than-headings": Code(_REFUSE, "a row has more cells than there are headings"),
        "two-corrections": Code(_REFUSE, "a second torque or power stands in another correction"),
        "open-quote": Code(_REFUSE, "a quotation mark is opened and not closed where it should be"),
        "not-whole": Code(_REFUSE, "a whole number was expected"),
        "not-a-choice": Code(_REFUSE, "the value is not one of the field's choices"),
        "not-yes-or-no": Code(_REFUSE, "yes or no was expected"),
        "not-a-date": Code(_REFUSE, "an ISO date or a year was expected"),
        "unknown-unit": Code(_REFUSE, "the unit is not known"),
        "wrong-unit": Code(_REFUSE, "the unit measures something else"),
        "out-of-range": Code(_REFUSE, "the value is beyond what can be"),
        "unit-left-out": Code(_REFUSE, "the value is right in another unit, which was left out"),
        "missing-rpm": Code(_REFUSE, "a row of the pull has no rpm"),
        "too-few-rpm": Code(_REFUSE, "the pull has fewer than five distinct rpm"),
        "torque-power-disagree": Code(_REFUSE, "torque, power and rpm contradict one another"),
        "mean-pressure": Code(_REFUSE, "the brake mean effective pressure cannot be"),
        **_fit(
            "bore-stroke",
            "bore and stroke cannot be of one engine",
            "bore over stroke is unusual",
        ),
        **_fit(
            "rod-stroke",
            "rod and stroke cannot be of one engine",
            "rod over stroke is unusual",
        ),
        **_fit(
            "valve-bore",
            "the intake valve cannot stand in the bore",
            "the intake valve is unusual for the bore",
        ),
        **_fit(
            "valves-bore",
            "the two valves cannot stand in the bore",
            "the two valves are unusual for the bore",
        ),
        **_fit(
            "exhaust-intake-valve",
            "exhaust and intake valve cannot be of one head",
            "exhaust over intake valve is unusual",
        ),
        **_fit(
            "lift-valve",
            "the lift cannot be of such a valve",
            "the lift is unusual for the valve",
        ),
        **_fit(
            "exhaust-intake-lift",
            "exhaust and intake lift cannot be of one cam",
            "exhaust over intake lift is unusual",
        ),
        **_fit(
            "seat-duration",
            "duration at the seat and at 0.050 in cannot be of one lobe",
            "duration at the seat is unusual for that at 0.050 in",
        ),
        **_fit(
            "exhaust-intake-duration",
            "exhaust and intake duration cannot be of one cam",
            "exhaust duration is unusual for the intake's",
        ),
        **_fit(
            "centerline-separation",
            "the intake centerline cannot be of such a cam",
            "the cam stands unusually far from straight up",
        ),
        **_fit(
            "port-valve",
            "the port cannot lead to such a valve",
            "the port is unusual for the valve",
        ),
        **_fit(
            "port-length",
            "port volume and cross-section cannot be of one port",
            "port volume is unusual for the cross-section",
        ),
        **_fit(
            "flow-valve",
            "no such valve can pass that flow",
            "the flow is unusual for the valve",
        ),
        **_fit(
            "exhaust-intake-flow",
            "exhaust and intake flow cannot be of one head",
            "exhaust over intake flow is unusual",
        ),
        **_fit(
            "primary-valve",
            "the header primary cannot be for such a valve",
            "the header primary is unusual for the valve",
        ),
        **_fit("piston-speed", "no piston is run that fast", "the piston speed is seldom passed"),
        "correction-range": Code(
            _WARN, "the weather is outside what the standard was written for", 0.01
        ),
        "nominal-correction": Code(
            _WARN, "no weather: a nominal ratio stands for the stated factor"
        ),
        "chassis-dyno": Code(_WARN, "a nominal driveline efficiency leads to the flywheel"),
        "same-sheet-again": Code(
            _WARN, "a later sheet of the same shop and name replaced this one"
        ),
        "row-without-reading": Code(_WARN, "a row has neither torque nor power and is left out"),
        "formula-without-value": Code(
            _WARN, "a workbook holds formulas that were never calculated", 0.01
        ),
        "mean-pressure-unusual": Code(_WARN, "the brake mean effective pressure is unusual", 0.03),
        "compression-fuel-unusual": Code(_WARN, "the compression ratio is high for the fuel", 0.01),
        "octane-fuel-unusual": Code(_WARN, "the octane is unusual for the fuel", 0.01),
        "cylinders-arrangement-unusual": Code(
            _WARN,
            "the number of cylinders is unusual for how they stand",
            0.01,
        ),
        "unit-in-doubt": Code(
            _WARN,
            "a bare temperature is cold for degF, which was assumed",
            0.02,
        ),
        "spike": Code(
            _WARN,
            "a reading stands far above its neighbours and is left out of the curve",
            0.01,
        ),
        "dropout": Code(
            _WARN,
            "a reading falls far below its neighbours and is left out of the curve",
            0.01,
        ),
        "rpm-read-twice": Code(_WARN, "readings of one pull at one speed contradict", 0.02),
        "sweep-gap": Code(_WARN, "a part of the sweep was not read", 0.005),
        "sensor-plateau": Code(
            _WARN,
            "the same torque at many speeds in a row: a sensor stuck or at its end",
            0.02,
        ),
        "pulls-disagree": Code(
            _WARN,
            "the pulls of the sheet read apart by more than one engine should",
            0.02,
        ),
        "copy": Code(_WARN, "the sheet is a copy of another: together they weigh as one"),
        "near-copy": Code(
            _WARN,
            "the sheet's curve is another's, or another's times a number: they weigh as one",
            0,
        ),
        "shop-barometer": Code(
            _WARN,
            "the barometer is unlike the shop's others: perhaps reduced to sea level",
            0.03,
        ),
        "shop-reads-off": Code(
            _WARN,
            "the shop reads high or low against the consensus of all",
            0.01,
        ),
        "unknown-field": Code(_NOTE, "a field that is not in the dictionary is left out"),
        "unknown-column": Code(_NOTE, "a column that is not in the dictionary is left out"),
        "assumed-humidity": Code(_NOTE, "no humidity on the sheet: 50 % was assumed"),
        "read-as": Code(_NOTE, "a customary word or heading was read as one of ours"),
        "encoding": Code(_NOTE, "the file is not UTF-8 and was read as what it seems to be"),
        "decimal-comma": Code(_NOTE, "a comma was read as the mark of decimals"),
        "thousands-mark": Code(_NOTE, "a mark between thousands was left out"),
        "unit-row": Code(_NOTE, "a row below the headings was read as their units"),
        "text-left-out": Code(_NOTE, "text above, between or below the readings was left out"),
        "several-pulls": Code(_NOTE, "pulls side by side or stacked were read apart"),
        "several-sweeps": Code(_NOTE, "a speed that turns back was read as the start of a sweep"),
        "unsorted-rpm": Code(_NOTE, "readings in no order were sorted by rpm"),
        "merged-cells": Code(_NOTE, "a merged cell was read as its value in each row"),
        "name-withheld": Code(_NOTE, "a text held the shop's name and was replaced by a code"),
        "text-withheld": Code(
            _NOTE, "a text that could tell who is behind it was replaced by a code"
        ),
        "name-hint": Code(_NOTE, "a name that travels holds a word of the shop's name"),
    }
)
