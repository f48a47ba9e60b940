"""What makes a curve, as a builder reads it in a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.schemas.fields import FIELDS
from pullbook.schemas.standing import Standing
from pullbook.text import prediction_text
from pullbook.words import figures
from pullbook.words.columns import columns
from pullbook.words.units import label

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from pullbook.model.answers.explain import Explanation
    from pullbook.words.units import Units

#: What stands above the nearest sheets.
NEAREST = "Nearest sheets, and what differs most (this build / that sheet):"
DISTANCE = (
    "Distance: 0 is the same build; at 1 everything that matters differs by as much as builds in"
    " the data usually do."
)
#: Where the largest part is this many times the next, its panel has a scale of its own.
DWARFS = 3.0
#: What nobody would call torque, lb-ft.
_NOTHING = 0.05
#: What the groups of parts are put into where the engine was measured before some were changed.
_BEFORE = "before the change"


def text(found: Explanation, manifest: Mapping[str, Any], units: Units) -> str:
    """Return an explanation as lines for the terminal."""
    before = first(found, units)
    lines = [
        prediction_text.wrap(
            f"{found.sheet_id}: difference from {origin(found)}, by group of parts,"
            f" {units.torque_condition}"
        ),
        "",
        *(prediction_text.wrap(line) for line in before),
        *(prediction_text.wrap(line) for line in units.converted),
        *([""] if before or units.converted else []),
    ]
    (first_, *heads), table = heading(found), rows(found, units)
    lines += columns(first_, [row[0] for row in table], heads, [row[1:] for row in table])
    lines += ["", prediction_text.wrap(NEAREST)]
    lines += [
        prediction_text.wrap(f"  {name} (distance {far}): {differs}", "    ")
        for name, far, differs in near(found, units)
    ]
    lines.append(prediction_text.wrap(DISTANCE))
    lines += ["", *(prediction_text.wrap(line) for line in notes(found))]
    return "\n".join([*lines, prediction_text.source(manifest),
                      prediction_text.wrap(prediction_text.CAUTION, "")])  # fmt: skip


def origin(found: Explanation) -> str:
    """Return which build the groups of parts are put into, one after the other."""
    told = found.found.measured
    return "the typical build" if told is None else f"the build measured on {told.sheet_id}"


def heading(found: Explanation) -> list[str]:
    """Return the headings over `rows`."""
    return ["rpm", *(f"{speed:.0f}" for speed in found.rpm)]


def by_size(found: Explanation) -> list[str]:
    """Return the groups of parts that add or take anything, the one with most first."""
    order = sorted(found.parts, key=lambda name: -float(np.abs(found.parts[name]).mean()))
    return [name for name in order if np.abs(found.parts[name]).max() > _NOTHING] or order[:1]


def rows(found: Explanation, units: Units) -> list[list[str]]:
    """Return the typical build, what each group of parts adds, and this build."""
    factor = units.shown(1.0, "lb-ft")
    names = by_size(found)
    curves = np.array([found.typical, *(found.parts[name] for name in names)]) * factor
    by_speed = [figures.summands(curve) for curve in curves.T.tolist()]
    (typical, *added) = zip(*by_speed, strict=True)
    return [
        [
            "typical build" if found.found.measured is None else _BEFORE,
            *(one.removeprefix("+") for one in typical),
        ],
        *([name, *steps] for name, steps in zip(names, added, strict=True)),
        ["this build", *(f"{v:.0f}" for v in factor * found.torque)],
    ]


def first(found: Explanation, units: Units) -> list[str]:
    """Return what to know before the parts: where the build lies, and speeds not tested."""
    lines = []
    if found.found.standing is not Standing.INSIDE:
        why = "; ".join(prediction_text.reasons(found.found.reasons, units))
        lines.append(
            f"This build is {prediction_text.STANDING[found.found.standing.value]}: {why}."
        )
    untested = found.rpm[~found.found.supported(found.rpm)]
    if len(untested):
        lines.append(
            "No build like this one was tested at " + ", ".join(f"{v:.0f}" for v in untested)
            + " rpm."
        )  # fmt: skip
    return lines


def near(found: Explanation, units: Units) -> list[list[str]]:
    """Return name, distance and what differs most of each of the nearest sheets."""
    return [
        [one.sheet_id, f"{one.distance:.2f}",
         ", ".join(_differs(*field, units) for field in one.differs) or "nothing"]
        for one in found.nearest
    ]  # fmt: skip


def _differs(name: str, here: str, there: str, units: Units) -> str:
    if not FIELDS[name].numeric:
        return f"{label(name)} {here} / {there}"
    both = (units.field(name, float(value)) for value in (here, there))
    return f"{label(name)} {' / '.join(both)}"


def notes(found: Explanation) -> list[str]:
    """Return which missing field would narrow the limits most, and what the parts mean."""
    worth = prediction_text.worth_naming(found.missing)
    missing = (
        [f"Not given; pullbook predict would give narrower limits with: {worth}."] if worth else []
    )
    if found.found.measured is not None:
        return [
            *missing,
            f"{figures.sentence(_BEFORE)}: the model's curve for the build on that sheet, which its"
            " pull has set right; it may be off the readings by their scatter, and it goes on where"
            " the pull did not reach. What a group of parts adds is the model's figure for the"
            " change; each group's share is an average, so that it does not depend on the order of"
            " the changes.",
        ]
    return [
        *missing,
        "The typical build has the median of every number and the most frequent of every choice in"
        " the data. What a group of parts adds is the model's figure; each group's share is an"
        " average, so that it does not depend on the order in which the groups are fitted. It shows"
        " what goes with more torque in the data, not the gain of bolting one on: it does not"
        " promise what a swap of parts will do.",
    ]
