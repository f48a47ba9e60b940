"""What an engine must drive and what it should not exceed, as a form has them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.pipeline.loads import ceilings, read_load
from pullbook.schemas.errors import InputError
from pullbook.view_parts.rendering import units_of
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.on_request import Load

#: The parameter of the loads, one a line.
LOADS = "load"
#: The parameters of what should not be exceeded, each with its name in `ceilings`.
CEILINGS = {"most_octane": "octane", "most_speed": "peak_speed", "most_piston": "piston_speed"}
#: What may be typed beside each, in inches and in metric.
LOAD_EXAMPLES = ("propeller 150 hp @ 4000, or towing 220 lb-ft @ 1800:3200",
                 "propeller 110 kW @ 4000, or towing 300 N.m @ 1800:3200")  # fmt: skip
_CEILING_EXAMPLES = {
    "most_octane": ("87", "87"), "most_speed": ("5000", "5000"),
    "most_piston": ("3800 ft/min", "19 m/s"),
}  # fmt: skip
_MOST_LOADS = 5


@dataclass(frozen=True, slots=True)
class Demands:
    """What was asked of an engine besides a goal.

    Attributes
    ----------
    loads
        What its torque must clear.
    cautions
        What it should not exceed, as `ceilings.read` takes them.
    """

    loads: tuple[Load, ...] = ()
    cautions: tuple[str, ...] = ()


def read(given: Mapping[str, str], faults: dict[str, str]) -> Demands:
    """Return what an address demands; what is wrong goes to ``faults``, by its parameter."""
    metric = units_of(given).metric
    loads = _loads(given.get(LOADS, ""), faults, metric=metric)
    return Demands(loads, tuple(_cautions(given, faults, metric=metric)))


def _loads(text: str, faults: dict[str, str], *, metric: bool) -> tuple[Load, ...]:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if len(lines) > _MOST_LOADS:
        faults[LOADS] = f"There are {len(lines)} loads; {_MOST_LOADS} is the most."
        return ()
    try:
        return tuple(_load(line, LOAD_EXAMPLES[metric]) for line in lines)
    except InputError as fault:
        faults[LOADS] = figures.sentence(str(fault))
        return ()


def _load(line: str, examples: str) -> Load:
    """Return the load that a line means; no line of a form opens a file."""
    if line.casefold().endswith(read_load.TABLES):
        msg = f"{line!r} is a table; a table cannot be given here. Write {examples}"
        raise InputError(msg)
    return read_load.in_words(line, examples)


def _cautions(given: Mapping[str, str], faults: dict[str, str], *, metric: bool) -> list[str]:
    kept = []
    for name, of in CEILINGS.items():
        if text := given.get(name, "").strip():
            try:
                ceilings.read([f"{of}={text}"])
            except InputError:
                unit = " with its unit" if name == "most_piston" else ""
                such = _CEILING_EXAMPLES[name][metric]
                faults[name] = f"{text!r} cannot be read. Type a number{unit}, such as {such}."
            else:
                kept.append(f"{of}={text}")
    return kept
