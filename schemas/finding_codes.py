"""Codes of findings: their stable names, severities and meanings."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from pullbook.schemas.severity import FITS, Code, Severity

if TYPE_CHECKING:
    from collections.abc import Mapping


_REFUSE, _WARN, _NOTE = Severity.REFUSE, Severity.WARN, Severity.NOTE


#: Every code a finding can carry.
CODES: Mapping[str, Code] = MappingProxyType(
    {
        "not-readable": Code(_REFUSE, "The file cannot be read as text or as a workbook"),
        "too-large": Code(_REFUSE, "The file or its table is larger than the limit"),
        "too-long": Code(_REFUSE, "A line, heading, field or cell is longer than the limit"),
        "no-front-matter": Code(
            _REFUSE, "The sheet file does not start with its fields between two --- lines"
        ),
        "front-matter-unreadable": Code(
            _REFUSE, "The fields are not a plain list with one 'name: value' per line"
        ),
        "no-pull": Code(_REFUSE, "The sheet has no table of rpm with torque or power"),
        "pull-without-build": Code(_REFUSE, "The pulls name a sheet that is not in the builds"),
        "repeated-field": Code(_REFUSE, "A field, a heading or a sheet name occurs twice"),
        "missing": Code(_REFUSE, "A required field is missing"),
        "missing-shop": Code(_REFUSE, "A sheet to contribute does not name its shop"),
        "unsigned": Code(_REFUSE, "A sheet to curate is not signed by its shop"),
        "not-the-signers-code": Code(
            _REFUSE, "A sheet to curate carries another shop's code than its signer's"
        ),
        "altered": Code(_REFUSE, "A sheet to curate was altered after it was signed"),
        "signed-after-hand-over": Code(
            _REFUSE, "A sheet was signed with an old key after its shop moved to a new one"
        ),
        "signed-among-own": Code(_REFUSE, "A contributed sheet lies among a shop's own sheets"),
        "same-id-other-engine": Code(
            _REFUSE, "One shop signed sheets with one name of engines of another size"
        ),
        "count-used-twice": Code(
            _REFUSE, "Two versions of a sheet carry the same signing number of their shop"
        ),
        "not-contributed": Code(
            _REFUSE, "A field that only contributed sheets have stands on a sheet of your own"
        ),
        "missing-weather": Code(
            _REFUSE, "Uncorrected torque, but no air temperature or barometer to correct it with"
        ),
        "sea-level-barometer": Code(
            _REFUSE, "The barometer does not fit the elevation; it may be reduced to sea level"
        ),
        "missing-boost": Code(_REFUSE, "A boosted engine needs its boost"),
        "boost-of-natural": Code(_REFUSE, "Boost is given for a naturally aspirated engine"),
        "not-a-number": Code(_REFUSE, "The value is not a number"),
        "ambiguous-number": Code(_REFUSE, "A comma could mean decimals or thousands"),
        "more-cells-than-headings": Code(_REFUSE, "A row has more cells than there are headings"),
        "two-corrections": Code(
            _REFUSE, "A second torque or power column is in another correction"
        ),
        "open-quote": Code(_REFUSE, "A quotation mark is not closed"),
        "not-whole": Code(_REFUSE, "The value is not a whole number"),
        "not-a-choice": Code(_REFUSE, "The value is not one of the field's choices"),
        "not-yes-or-no": Code(_REFUSE, "The value is not yes or no"),
        "not-a-date": Code(_REFUSE, "The value is not a date or a year"),
        "unknown-unit": Code(_REFUSE, "The unit is not known"),
        "wrong-unit": Code(_REFUSE, "The unit does not fit the field"),
        "out-of-range": Code(_REFUSE, "The value is out of range"),
        "unit-left-out": Code(_REFUSE, "No unit given, and the number only fits another one"),
        "missing-rpm": Code(_REFUSE, "A reading has no rpm"),
        "too-few-rpm": Code(_REFUSE, "The pull has fewer than five different rpm"),
        "torque-power-disagree": Code(_REFUSE, "Torque, power and rpm contradict each other"),
        "mean-pressure": Code(_REFUSE, "The brake mean effective pressure is impossible"),
        **FITS,
        "unit-unproven": Code(
            _REFUSE, "Torque or power names no unit on a metric sheet, and nothing proves one"
        ),
        "column-correction": Code(
            _REFUSE, "The heading of a column says another correction than the sheet"
        ),
        "other-builds": Code(_REFUSE, "Runs of one sheet may be of different builds"),
        "units-disagree": Code(_REFUSE, "A column names two different units"),
        "no-quantity": Code(
            _REFUSE, "Columns of numbers do not say whether they are torque or power"
        ),
        "left-missing": Code(_WARN, "A field that cannot be read was left out"),
        "word-assumed": Code(_WARN, "A word with more than one meaning was taken in its usual one"),
        "unit-assumed": Code(
            _WARN, "A number without a unit was read in the only or the usual unit that fits"
        ),
        "text-contradicts": Code(_WARN, "A text on the sheet says otherwise than its fields"),
        "marked-number": Code(_WARN, "A number carries a mark: an estimate, or a footnote", 0.01),
        "column-without-heading": Code(
            _WARN, "A column of numbers beside torque or power has no heading; it was left out"
        ),
        "fewer-cells-than-headings": Code(
            _WARN, "A row ends before its headings do; its last cell may be of another column"
        ),
        "pull-left-out": Code(_WARN, "A pull in another correction than the sheet was left out"),
        "part-of-sweep": Code(
            _WARN, "Idling, aborted or coasting readings beside the sweep were left out"
        ),
        "correction-range": Code(
            _WARN, "The weather is outside the range of the correction standard", 0.01
        ),
        "engine-differs": Code(_WARN, "Sheets of one engine differ in their number of cylinders"),
        "not-as-in-settings": Code(_WARN, "The sheet says otherwise than the settings file"),
        "nominal-correction": Code(
            _WARN, "No weather on the sheet: a nominal ratio replaces the exact factor"
        ),
        "chassis-dyno": Code(
            _WARN, "Chassis dyno: converted to the flywheel with a nominal driveline efficiency"
        ),
        "same-sheet-again": Code(
            _WARN, "A later sheet with the same shop and name replaced this one"
        ),
        "row-without-reading": Code(_WARN, "A row without torque or power was left out"),
        "formula-without-value": Code(_WARN, "A workbook has formulas without stored values", 0.01),
        "rpm-unusual": Code(_WARN, "The engine speeds are too low for a pull", 0.03),
        "mean-pressure-unusual": Code(_WARN, "The brake mean effective pressure is unusual", 0.03),
        "compression-fuel-unusual": Code(_WARN, "The compression ratio is high for the fuel", 0.01),
        "octane-fuel-unusual": Code(_WARN, "The octane is unusual for the fuel", 0.01),
        "cylinders-arrangement-unusual": Code(
            _WARN,
            "The number of cylinders is unusual for the arrangement",
            0.01,
        ),
        "unit-in-doubt": Code(
            _WARN,
            "A temperature without a unit is low for degF, which was assumed",
            0.02,
        ),
        "spike": Code(
            _WARN,
            "A reading far above its neighbours was left out of the curve",
            0.01,
        ),
        "dropout": Code(
            _WARN,
            "A reading far below its neighbours was left out of the curve",
            0.01,
        ),
        "rpm-read-twice": Code(_WARN, "Two readings of one pull at the same rpm disagree", 0.02),
        "sweep-gap": Code(_WARN, "The sweep has a gap", 0.005),
        "sensor-plateau": Code(
            _WARN,
            "The same torque at many speeds in a row: the sensor was stuck or at its limit",
            0.02,
        ),
        "pulls-disagree": Code(
            _WARN,
            "The pulls of the sheet differ by more than one engine should",
            0.02,
        ),
        "copy": Code(_WARN, "The sheet is a copy of another; together they count as one"),
        "near-copy": Code(
            _WARN,
            "The curve equals another sheet's times a constant; together they count as one",
            0,
        ),
        "shop-barometer": Code(
            _WARN,
            "The barometer is far above the shop's other sheets; it may be reduced to sea level",
            0.03,
        ),
        "shop-reads-off": Code(
            _WARN,
            "The shop reads higher or lower than the consensus of all shops",
            0.01,
        ),
        "unknown-field": Code(_NOTE, "An unknown field was left out"),
        "unknown-column": Code(_NOTE, "An unknown column was left out"),
        "engine-rebuilt": Code(
            _NOTE, "Sheets of one engine differ in bore: a rebuild, or a mistake"
        ),
        "from-settings": Code(_NOTE, "A value or a meaning was taken from the settings file"),
        "measured-not-usable": Code(
            _REFUSE, "A build names a measured sheet that it cannot start from"
        ),
        "assumed-humidity": Code(_NOTE, "No humidity on the sheet: 50 % was assumed"),
        "read-as": Code(_NOTE, "A customary word or heading was read as one of ours"),
        "encoding": Code(_NOTE, "The file is not UTF-8; its encoding was detected"),
        "decimal-comma": Code(_NOTE, "A comma was read as the decimal mark"),
        "thousands-mark": Code(_NOTE, "A thousands separator was removed"),
        "unit-explained": Code(_NOTE, "A number without a unit can only be in one"),
        "unit-proven": Code(_NOTE, "Torque times rpm against power proves the units"),
        "column-chosen": Code(
            _NOTE, "Of two columns of one quantity, the one in the sheet's correction was used"
        ),
        "several-sheets": Code(_NOTE, "The file holds several sheets; each was read by itself"),
        "unit-row": Code(_NOTE, "A row below the headings was read as units"),
        "text-left-out": Code(_NOTE, "Text around the readings was left out"),
        "several-pulls": Code(
            _NOTE, "Several pulls, side by side or one below the other, were separated"
        ),
        "several-sweeps": Code(_NOTE, "The rpm turns back: a new sweep starts there"),
        "unsorted-rpm": Code(_NOTE, "Readings in no order were sorted by rpm"),
        "merged-cells": Code(_NOTE, "A merged cell was read as the same value in each of its rows"),
        "name-withheld": Code(_NOTE, "A text with the shop's name in it was replaced by a code"),
        "text-withheld": Code(_NOTE, "A text that could identify the shop was replaced by a code"),
        "name-hint": Code(_NOTE, "A name that is shared contains a word of the shop's name"),
    }
)
