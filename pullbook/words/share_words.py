"""What makes the difference of two builds, as a builder reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.words import figures

if TYPE_CHECKING:
    from pullbook.model.comparison.compare_several import Comparison
    from pullbook.words.units import Units


def rows(found: Comparison, units: Units) -> list[list[str]]:
    """Return each group of parts with its share of the difference and the limits of that.

    The largest comes first; the last two are what is not explained, and the whole.
    """
    shares = found.shares
    if shares is None:
        return []
    parts = sorted(shares.parts.items(), key=lambda one: -abs(one[1].value))
    values = [*(one.value for _, one in parts), shares.unexplained]
    *steps, rest = figures.summands([units.shown(value, "lb-ft") for value in values])
    return [
        *(
            [name, step, "" if one.low is None
             else figures.difference_limits(units.between(one, "lb-ft"))]
            for step, (name, one) in zip(steps, parts, strict=True)
        ),
        ["not explained", rest, ""],
        ["whole difference", figures.summands([units.shown(shares.measured, "lb-ft")])[0], ""],
    ]  # fmt: skip


def title(found: Comparison) -> str:
    """Return what the shares are of."""
    first = found.before or found.differences[0]
    before = ", before parts were made the same" if found.before is not None else ""
    return (
        f"What makes the difference, A minus B, mean from {first.over[0]:.0f} to"
        f" {first.over[1]:.0f} rpm{before}"
    )


_MEANING = (
    "What each group adds is what the model knows of parts, brought in line with what the two"
    " made. What groups do together is shared between them. Its limits are for one engine in which"
    " that group alone is changed."
)
#: Why a group may be clear where the whole is not.
_TWO_ENGINES = (
    "Those of the whole difference are for two engines, which never make quite the same even when"
    " they are built alike, so they are wider."
)


def meaning(found: Comparison) -> list[str]:
    """Return what a share is, what its limits are for, and why those of the whole are wider."""
    if found.shares is None:
        return []
    measured = (found.before or found.differences[0]).measured
    return [_MEANING if any(measured) else f"{_MEANING} {_TWO_ENGINES}"]
