"""A template of a build to fill in by hand: every field that is used, with an invented example.

The examples are of one engine and fit each other, so the template is a valid build no matter which
of its lines are uncommented.
"""

from __future__ import annotations

import textwrap
from types import MappingProxyType
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.engine_quantities import SIZE_FIELDS
from pullbook.pipeline.values import cells
from pullbook.schemas.field_words import METRIC, in_units, with_unit
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pullbook.schemas.field import Field

_WIDTH = 79
_BEFORE_UNITS = (
    "Lines that start with # are ignored. Remove the # in front of a field that you know, and"
    " change its value; leave the other lines as they are."
)
_UNITS = (
    "A number without a unit is in the unit named above it. You can also write the unit yourself,"
    " as in 92.1 mm, 24 degC or 1 5/8 in."
)
_METRIC_UNITS = (
    "Write the unit behind every number, as here (92.1 mm, 165 cc, 24 degC): a length without one"
    " would be taken for inches."
)
_EXTEND = (
    "To start from another build, add a line with the name of its file (extend: other.yaml) and"
    " give only the fields that differ. Write NA to drop a field of the other build (NA: not"
    " given, not naturally aspirated)."
)
#: The conditions that fields are measured at, which their meanings name in inches.
_METRIC_CONDITIONS = MappingProxyType(
    {
        "0.050 in lift": "1.27 mm lift (0.050 in)",
        "28 inH2O": "711 mmH2O (28 inH2O)",
        "1.5 inHg": "38 mmHg (1.5 inHg)",
    }
)
_FOOT = "# Weather and correction are not needed: they describe a pull, not a build."

#: Example values by field, in groups of parts that belong together.
GROUPS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "Name": {
            "sheet_id": "spring-refit",
            "shop": "Tern Quay Marine",
            "family": "petrel-six",
            "engine": "Lugworm, port",
            "measured": "spring-test.csv",
        },
        "Size": {
            "cylinders": "6",
            "arrangement": "inline",
            "bore": "3.9 in",
            "stroke": "95.25 mm",
            "displacement": "270 cu in",
            "rod_length": "6.0 in",
            "compression_ratio": "9.4",
        },
        "Camshaft": {
            "lifter": "hydraulic flat tappet",
            "intake_duration": "214",
            "exhaust_duration": "222",
            "intake_duration_seat": "262",
            "exhaust_duration_seat": "270",
            "lobe_separation": "112",
            "intake_centerline": "108",
            "intake_lift": "0.450 in",
            "exhaust_lift": "0.460 in",
        },
        "Cylinder head": {
            "valves_per_cylinder": "2",
            "intake_valve": "1.88 in",
            "exhaust_valve": "1.50 in",
            "port_csa": "1.9 sq in",
            "port_volume": "165 cc",
            "intake_flow": "200 cfm",
            "exhaust_flow": "150 cfm",
        },
        "Intake": {
            "intake_type": "dual plane",
            "runner_length": "7 in",
            "fuel_metering": "carburetor",
            "airflow": "500 cfm",
            "aspiration": "natural",
            "boost": "0 psi",
        },
        "Exhaust": {
            "exhaust_type": "long-tube header",
            "primary_diameter": "1 5/8 in",
            "primary_length": "30 in",
            "muffled": "yes",
        },
        "Fuel and ignition": {"fuel": "gasoline", "octane": "91", "timing": "32"},
        "Test": {
            "water_pump": "mechanical",
            "accessories": "no",
            "dyno": "engine",
        },
    }
)

#: Example values by field.
EXAMPLES: Mapping[str, str] = MappingProxyType(
    {name: value for group in GROUPS.values() for name, value in group.items()}
)
#: Fields that a build must have.
REQUIRED = tuple(name for name in BUILD_FIELDS if FIELDS[name].required)
#: Fields that the template gives, so that it can be predicted as it stands.
_WRITTEN = (*REQUIRED, *SIZE_FIELDS)
#: What the field dictionary does not say about a field of a build.
_REMARKS = MappingProxyType(
    {
        "sheet_id": "default: the name of the file",
        "shop": "for a prediction as a known shop, with its key",
        "aspiration": "default: natural",
        "boost": "required unless aspiration is natural",
        "bore": "required, or the displacement",
        "stroke": "required, or the displacement",
    }
)


def describe(name: str, *, metric: bool = False) -> str:
    """Return a description of a field: what it is and what it accepts.

    >>> describe("bore")
    'cylinder bore: a number from 1 to 9 in; required, or the displacement'
    >>> describe("bore", metric=True)
    'cylinder bore: a number from 25.4 to 229 mm; required, or the displacement'
    """
    field = FIELDS[name]
    remark = "required" if name in REQUIRED else _REMARKS.get(name)
    # The field dictionary describes a shop that contributes; a build is not contributed.
    meaning = "shop that would test it" if name == "shop" else field.meaning
    for inch, shown in _METRIC_CONDITIONS.items() if metric else ():
        meaning = meaning.replace(inch, shown)
    allowed = _allowed_metric(field) if metric and field.unit in METRIC else field.allowed
    return f"{meaning}: {allowed}" + (f"; {remark}" if remark else "")


def _allowed_metric(field: Field) -> str:
    ends = (in_units(field.name, one or 0.0, metric=True) for one in (field.low, field.high))
    low, high = (f"{float(f'{one:.3g}'):.10g}" for one in ends)
    return f"a number from {low} to {high} {METRIC[field.unit][0]}"


def _example(name: str, value: str, *, metric: bool) -> str:
    """Return the example of a field, in a metric unit if asked for and there is one.

    >>> _example("primary_diameter", "1 3/4 in", metric=True)
    '44.45 mm'
    """
    if not metric or FIELDS[name].unit not in METRIC:
        return value
    number = cells.parse(value, FIELDS[name]).value
    return with_unit(name, number, metric=True) if isinstance(number, int | float) else value


def text(*, metric: bool = False) -> str:
    """Return the template: a build file in which only the size of the engine is not commented."""
    return "\n".join(_lines(metric=metric)) + "\n"


def _lines(*, metric: bool) -> Iterator[str]:
    told = f"{_BEFORE_UNITS} {_METRIC_UNITS if metric else _UNITS}"
    head = "A build to predict. Every value in this file is invented: replace it with your own."
    yield "\n#\n".join(_comment(text) for text in (head, told, _EXTEND))
    for group, examples in GROUPS.items():
        yield f"\n# --- {group} ---"
        for name, value in examples.items():
            comment = describe(name, metric=metric)
            shown = _example(name, value, metric=metric)
            yield _comment(comment, "#   ")
            yield f"{name}: {shown}" if name in _WRITTEN else f"#{name}: {shown}"
    yield f"\n{_FOOT}"


def _comment(text: str, indent: str = "# ") -> str:
    """Return a text as lines of a comment."""
    return textwrap.fill(
        text, _WIDTH, initial_indent="# ", subsequent_indent=indent, break_on_hyphens=False
    )
