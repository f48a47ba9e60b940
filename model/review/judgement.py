"""A judgement: its rules, its verdict, and two bundles side by side."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple

from pullbook.model.learning.settings import numbers_of

if TYPE_CHECKING:
    from collections.abc import Mapping


_MOST_DIGITS = 6


class Verdict(StrEnum):
    """The verdict on a new bundle."""

    BETTER = "better"
    NO_WORSE = "no worse"
    WORSE = "worse"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Rules:
    """The rules of a verdict.

    Attributes
    ----------
    fewest_shops
        With fewer shops, or engines, the verdict is that it cannot tell; two are always needed.
    error_margin
        Largest rise of the error of the curve, % of torque, at the upper limit of the change, that
        still counts as no worse.
    score_margin
        The same for the interval score.
    inside_margin
        Largest fall of the share of readings inside the limits while it is below the level.
    outside_margin
        Largest rise of the share of builds outside the data.
    """

    fewest_shops: float = 8
    error_margin: float = 0.15
    score_margin: float = 0.75
    inside_margin: float = 0.03
    outside_margin: float = 0.10


def rules_from(given: Mapping[str, Any]) -> Rules:
    """Return the rules with some values changed.

    Raises
    ------
    ValueError
        A name is not a rule, or a value is not a number of 0 or more.

    """
    return numbers_of(Rules, given, called="rule of judging", above_zero=False)


class Apart(NamedTuple):
    """A figure of both bundles, and new minus old with its 90 % limits over shops."""

    old: float
    new: float
    difference: float
    low: float
    high: float

    def digits(self, least: int) -> int:
        """Return with how many decimals, from ``least``, old plus difference is new.

        >>> Apart(3.82, 3.67, -0.15, -0.3, 0.0).digits(2)  # 3.82, 3.67, -0.15
        2
        >>> Apart(3.824, 3.666, -0.158, -0.3, 0.0).digits(2)  # not 3.82, 3.67, -0.16
        3
        """
        for digits in range(least, _MOST_DIGITS):
            old, new, difference = (round(value, digits) for value in self[:3])
            if abs(new - old - difference) < 0.5 * 10.0**-digits:
                return digits
        return _MOST_DIGITS


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
        Id of the bundle, and the numbers of sheets and shops it was trained on.
    coverage
        From `evaluate.coverage`.
    width
        Median width of the limits by level, % of torque.
    worst
        The kind of sheet with the smallest share of readings inside.
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
    """Two bundles side by side, and the verdict.

    Attributes
    ----------
    old, new
        The two bundles.
    sheets, shops
        Numbers of sheets and of shops they were judged on; of engines, if ``held_out`` says so.
    held_out
        What was set aside to judge by: each a ``shop`` or an ``engine``.
    level
        Level of the limits.
    figures
        Figures of both, by name in `accuracy.FIGURES`.
    inside
        The share of readings inside the limits; ``None`` without limits.
    verdict, reasons
        The verdict, and why.
    seconds
        Time that each took to predict; not written to files, since it varies.
    """

    old: Side
    new: Side
    sheets: int
    shops: int
    held_out: str
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
