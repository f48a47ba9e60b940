"""What a judgement holds: rules, verdicts, and two bundles side by side."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple

from pullbook.model.learning.settings import numbers_of

if TYPE_CHECKING:
    from collections.abc import Mapping


class Verdict(StrEnum):
    """What became of a challenger."""

    BETTER = "better"
    NO_WORSE = "no worse"
    WORSE = "worse"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Rules:
    """What a verdict goes by.

    Attributes
    ----------
    fewest_shops
        With fewer shops nothing can be told; two are needed whatever it says.
    error_margin
        What the error of the curve may rise by, % of torque, at the upper limit of what is
        likely, and still be no worse.
    score_margin
        The same of the interval score.
    inside_margin
        What the share of readings inside the limits may fall by while it is less than promised.
    outside_margin
        What the share of builds that stand outside may rise by.
    """

    fewest_shops: float = 8
    error_margin: float = 0.15
    score_margin: float = 0.75
    inside_margin: float = 0.03
    outside_margin: float = 0.10


def rules_from(given: Mapping[str, Any]) -> Rules:
    """Return rules with some values of their own.

    Raises
    ------
    ValueError
        A name is not a rule, or a value is not a number from nought.

    """
    return numbers_of(Rules, given, called="rule of judging", above_nought=False)


class Apart(NamedTuple):
    """A figure of both, and the new one less the old one with its 90 % limits over shops."""

    old: float
    new: float
    difference: float
    low: float
    high: float


class Stratum(NamedTuple):
    """A kind of sheet, and the share of its readings inside the limits, with 90 % limits."""

    name: str
    inside: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two bundles.

    Attributes
    ----------
    id, sheets, shops
        Of the bundle, and what it learned from.
    coverage
        As `evaluate.coverage` gives it.
    width
        Median width of the limits by level, % of torque.
    worst
        The third of the sweep or the standing where the fewest readings lie inside.
    standing
        The share of builds by standing.
    """

    id: str
    sheets: int
    shops: int
    coverage: dict[str, dict[str, float]]
    width: dict[str, float]
    worst: Stratum | None
    standing: dict[str, float]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Two bundles, side by side.

    Attributes
    ----------
    old, new
        The two.
    sheets, shops
        What they were judged by.
    level
        Of the limits.
    figures
        By name of `accuracy.FIGURES`.
    inside
        The share of readings inside the limits.
    verdict, reasons
        What came of it, and why.
    seconds
        What each took to answer; not part of what is written, for it is another each time.
    """

    old: Side
    new: Side
    sheets: int
    shops: int
    level: float
    figures: dict[str, Apart]
    inside: Apart | None
    verdict: Verdict
    reasons: list[str]
    seconds: tuple[float, float] = field(compare=False)

    def as_json(self) -> dict[str, Any]:
        """Return the judgement as plain data."""
        found = asdict(self)
        del found["seconds"]
        found["figures"] = {name: one._asdict() for name, one in self.figures.items()}
        found["inside"] = None if self.inside is None else self.inside._asdict()
        for name, side in (("old", self.old), ("new", self.new)):
            found[name]["worst"] = None if side.worst is None else side.worst._asdict()
        return found
