"""What money buys: the combinations that none at the same price or less betters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pullbook.model.choices import goals
from pullbook.schemas.answer import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.choices.parts_choice import Combination
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.pipeline.builds.parts import Goal
    from pullbook.schemas.answer import Between


@dataclass(frozen=True, slots=True)
class Step:
    """A combination, and what it brings over the next cheaper one.

    Attributes
    ----------
    one
        The combination.
    price, more
        Its price, and how much more that is than the next cheaper one's; ``None`` for the first.
    gain, chance
        What it reaches more of the goal, both on one dyno, and the chance that it reaches more.
    """

    one: Combination
    price: float
    more: float | None = None
    gain: Between | None = None
    chance: float | None = None

    @property
    def each(self) -> float | None:
        """The gain for each unit of money."""
        return self.gain.value / self.more if self.gain is not None and self.more else None

    def times(self, factor: float) -> Step:
        """Return the step with all torque and power multiplied by a factor."""
        gain = None if self.gain is None else self.gain.times(factor)
        return replace(self, one=self.one.times(factor), gain=gain)

    def as_json(self) -> dict[str, Any]:
        """Return the step as ``choose --json`` prints it."""
        gain = self.gain
        return {
            "parts": {part.kind: part.name for part in self.one.parts},
            "price": rounded(self.price),
            "gain": None if gain is None else {
                "value": rounded(gain.value), "low": rounded(gain.low), "high": rounded(gain.high)},
            "more_money": rounded(self.more),
            "gain_per_unit": rounded(self.each, 5),
            "chance_of_gain": rounded(self.chance, 4),
        }  # fmt: skip


def steps(
    ranked: Sequence[Combination], goal: Goal, pairs: Mapping[str, PairScores], level: float
) -> list[Step]:
    """Return what money buys among ranked combinations, the cheapest first.

    None where there is no price, or one price for all.
    """
    priced = [(one.price, one) for one in ranked if one.price is not None]
    found: list[Step] = []
    for price, one in sorted(priced, key=lambda pair: (pair[0], -pair[1].goal.value)):
        if not found:
            found.append(Step(one, price))
            continue
        last = found[-1]
        if one.goal.value > last.one.goal.value:
            less, chance = goals.less(goal, last.one.found, one.found, one.reached, pairs, level)
            found.append(
                Step(one, price, price - last.price, less, None if chance is None else 1 - chance)
            )
    return found if len({price for price, _ in priced}) > 1 else []
