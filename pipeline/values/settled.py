"""How the meaning of a number or word was settled: nothing that is assumed passes unseen."""

from __future__ import annotations

from enum import StrEnum


class Settled(StrEnum):
    """How it is known what a cell means, from the surest to the least sure.

    What is `ASSUMED` always comes with a finding of severity warn.
    """

    WRITTEN = "as written"
    HEADING = "named in the heading"
    CUSTOMARY = "a customary word"
    SETTINGS = "your settings file"
    PROVEN = "torque times rpm against power"
    OTHERS = "the shop's other sheets"
    ONLY = "the only unit that fits"
    ASSUMED = "assumed"
