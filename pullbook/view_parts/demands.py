"""What an engine must drive and what it should not exceed, as a form has them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.pipeline.loads import ceilings, read_load
from pullbook.schemas.errors import InputError
from pullbook.words import figures

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.on_request import Load

#: The parameter of the loads, one a line.
LOADS = "load"
#: The parameters of what should not be exceeded, each with its name in `ceilings`.
CEILINGS = {"most_octane": "octane", "most_speed": "peak_speed", "most_piston": "piston_speed"}
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
    return Demands(_loads(given.get(LOADS, ""), faults), tuple(_cautions(given, faults)))


def _loads(text: str, faults: dict[str, str]) -> tuple[Load, ...]:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if len(lines) > _MOST_LOADS:
        faults[LOADS] = f"There are {len(lines)} loads; {_MOST_LOADS} is the most."
        return ()
    try:
        return tuple(map(_load, lines))
    except InputError as fault:
        faults[LOADS] = figures.sentence(str(fault))
        return ()


def _load(line: str) -> Load:
    """Return the load that a line means; no line of a form opens a file."""
    if line.casefold().endswith(read_load.TABLES):
        msg = (
            f"{line!r} is a table, which the command line reads (--load). Here write propeller 150"
            " hp @ 4000, or towing 220 lb-ft @ 1800:3200"
        )
        raise InputError(msg)
    return read_load.read(line)


def _cautions(given: Mapping[str, str], faults: dict[str, str]) -> list[str]:
    kept = []
    for name, of in CEILINGS.items():
        if text := given.get(name, "").strip():
            try:
                ceilings.read([f"{of}={text}"])
            except InputError as fault:
                faults[name] = figures.sentence(str(fault))
            else:
                kept.append(f"{of}={text}")
    return kept
