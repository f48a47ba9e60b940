"""The settings of a training run: the section ``train`` of params.yaml."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of a training run.

    Attributes
    ----------
    seed
        Of everything drawn by chance.
    folds
        How many parts the shops are held out in, for calibration.
    rounds, learning_rate, leaves, leaf_readings, feature_share
        Of the boosted trees.
    spread_rounds
        Of the trees that learn how wide the limits must be where.
    withheld
        How many times they see every sheet with some of its fields withheld.
    """

    seed: int = 1
    folds: int = 10
    rounds: int = 400
    learning_rate: float = 0.08
    leaves: int = 7
    leaf_readings: int = 40
    feature_share: float = 0.4
    spread_rounds: int = 80
    withheld: int = 2

    def as_dict(self) -> dict[str, Any]:
        """Return the settings as plain data."""
        return asdict(self)


def from_mapping(given: Mapping[str, Any]) -> Settings:
    """Return settings with some values of their own.

    Raises
    ------
    ValueError
        A name is not a setting, or a value is not a number above nought.

    """
    known = {f.name for f in fields(Settings)}
    for name, value in given.items():
        if name not in known:
            msg = f"{name!r} is not a training setting; the settings are {', '.join(sorted(known))}"
            raise ValueError(msg)
        if isinstance(value, bool) or not isinstance(value, int | float) or value <= 0:
            msg = f"the training setting {name} is {value!r}; it must be a number above nought"
            raise ValueError(msg)
    return Settings(**dict(given))
