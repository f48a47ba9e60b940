"""A build to fill in by hand: every field that bears on an answer, with an invented example.

The examples are of one engine and fit one another, so that the template is a sound build however
many of its lines are taken in.
"""

from __future__ import annotations

import textwrap
from types import MappingProxyType
from typing import TYPE_CHECKING

from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_WIDTH = 88
_HEAD = """\
# A build to ask about. Every value in this file is invented: put your own in their place.
#
# A line that begins with # says nothing to pullbook. Take the # away from a field that you
# know, and change its value; leave the others as they are. A bare number is in the unit that
# stands above it; a number may name another, as 92.1 mm, 24 degC or 1 5/8 in.
#
# To begin from another build and change a few of its fields, add a line that names its file
# (extend: other.yaml) and give only what differs; NA takes a field of the other build out."""
_FOOT = "# Weather, correction and the like tell how a pull was run; a question needs none of them."

#: Example values by field, in groups as the parts of an engine go together.
GROUPS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "Name": {"sheet_id": "spring-refit", "shop": "Tern Quay Marine", "family": "petrel-six"},
        "Size": {
            "cylinders": "6",
            "arrangement": "inline",
            "bore": "3.9 in",
            "stroke": "95.25 mm",
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
            "port_csa": "1.9 in2",
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
        "How it would be tested": {
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
#: Fields without which a build cannot be predicted.
REQUIRED = tuple(name for name in BUILD_FIELDS if FIELDS[name].required)
#: What the dictionary does not say of a field in a build.
_FURTHER = MappingProxyType(
    {
        "sheet_id": "without it, the name of the file",
        "shop": "to ask as a known shop, with its key",
        "aspiration": "without it, natural",
        "boost": "required where aspiration is not natural",
    }
)


def told(name: str) -> str:
    """Return what a field is and takes, in words.

    >>> told("bore")
    'cylinder bore: a number from 1 to 9 in; required'
    """
    field = FIELDS[name]
    further = "required" if name in REQUIRED else _FURTHER.get(name)
    # What the dictionary says of a shop is of contributing; nothing is contributed here.
    meaning = "who would test" if name == "shop" else field.meaning
    return f"{meaning}: {field.allowed}" + (f"; {further}" if further else "")


def text() -> str:
    """Return the template: a build file in which only the required fields are taken in."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    yield _HEAD
    for group, examples in GROUPS.items():
        yield f"\n# --- {group} ---"
        for name, value in examples.items():
            yield textwrap.fill(told(name), _WIDTH, initial_indent="# ", subsequent_indent="#   ")
            yield f"{name}: {value}" if name in REQUIRED else f"#{name}: {value}"
    yield f"\n{_FOOT}"
