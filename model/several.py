"""Several builds compared: the first with each of the others, and the chance of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from model import best
from model import compare as comparing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from model.compare import Difference
    from model.pairs import Pairs
    from model.prediction import Prediction
    from model.sample import Floats

_SEED = 1


@dataclass(frozen=True, slots=True)
class Comparison:
    """Several builds compared: the first with each of the others.

    Attributes
    ----------
    differences
        The first less each other.
    chances
        That each makes the most over the band; ``None`` without calibration.
    """

    differences: list[Difference]
    chances: list[float] | None

    @property
    def names(self) -> list[str]:
        """Names of the builds, in their order."""
        return [self.differences[0].names[0], *(one.names[1] for one in self.differences)]

    def as_json(self) -> dict[str, Any]:
        """Return what ``compare --json`` prints: of two builds their difference."""
        if len(self.differences) == 1:
            return self.differences[0].as_json()
        first = self.differences[0]
        chances = None if self.chances is None else [round(one, 4) for one in self.chances]
        return {
            "band": list(first.band),
            "level": first.level,
            "builds": self.names,
            "chance_best": chances,
            "against_first": [one.as_json() for one in self.differences],
        }


def compare(
    names: Sequence[str],
    found: Sequence[Prediction],
    pairs: Pairs | None,
    band: tuple[float, float],
    level: float,
    rpm: Floats,
    one_shop: bool,
) -> Comparison:
    """Return the first of several builds compared with each other.

    Parameters
    ----------
    names, found
        Of the builds, and what a model says of them.
    pairs, band, level, rpm, one_shop
        As for `model.compare.compare`.

    """
    differences = [
        comparing.compare((found[0], one), (names[0], name), pairs, band, level, rpm, one_shop)
        for name, one in zip(names[1:], found[1:], strict=True)
    ]
    chances = None
    if pairs is not None:
        scores = pairs.one_shop if one_shop else pairs.two_shops
        places = np.array([one.place for one in found])
        chances = best.chances(*best.means(found, band), places, scores, scores.mean, _SEED)
    return Comparison(differences, None if chances is None else chances.tolist())
