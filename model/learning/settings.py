"""The settings of a training run: the section ``train`` of params.yaml."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any, TypeVar

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

_Kind = TypeVar("_Kind")
#: Ranges of settings that are narrower than any number above 0.
_RANGES = {"folds": (2.0, math.inf), "leaves": (2.0, math.inf), "feature_share": (0.0, 1.0),
           "learning_rate": (0.0, 1.0)}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of a training run.

    Attributes
    ----------
    seed
        Seed of every random choice.
    folds
        Number of parts that the shops are held out in, for calibration.
    rounds, learning_rate, leaves, leaf_readings, feature_share
        Settings of the boosted trees.
    spread_rounds
        Rounds of the trees of the expected error.
    withheld
        How many times these are fitted to every sheet with some of its fields removed.
    """

    seed: int = 1
    folds: int = 10
    rounds: int = 400
    learning_rate: float = 0.08
    leaves: int = 7
    leaf_readings: int = 40
    feature_share: float = 0.4
    spread_rounds: int = 25
    withheld: int = 2

    def as_dict(self) -> dict[str, Any]:
        """Return the settings as plain data."""
        return asdict(self)


def from_mapping(given: Mapping[str, Any]) -> Settings:
    """Return the settings with some values changed.

    Raises
    ------
    InputError
        A name is not a setting, or a value is not a number above 0, or out of its range.

    """
    found = numbers_of(Settings, given, called="training setting", above_zero=True)
    for name, (low, high) in _RANGES.items():
        if not low <= getattr(found, name) <= high:
            most = "or more" if math.isinf(high) else f"to {high:g}"
            msg = (
                f"the training setting {name} is {getattr(found, name)}; it must be {low:g} {most}"
            )
            raise InputError(msg)
    return found


def numbers_of(
    kind: type[_Kind], given: Mapping[str, Any], *, called: str, above_zero: bool
) -> _Kind:
    """Return a dataclass of numbers with some values changed.

    Parameters
    ----------
    kind
        The dataclass; a field whose default is a whole number accepts only whole numbers.
    given
        Values by name.
    called
        The word for one of its fields in messages.
    above_zero
        Whether 0 is refused too.

    Raises
    ------
    InputError
        A name is not a field, or a value is not such a number.

    """
    known = {field.name: field.default for field in fields(kind)}  # type: ignore[arg-type]
    for name, value in given.items():
        if name not in known:
            msg = f"{name!r} is not a {called}; use one of {', '.join(sorted(known))}"
            raise InputError(msg)
        whole = isinstance(known[name], int)
        if not _is_number(value, whole=whole) or not value >= 0 or (above_zero and value == 0):
            least = "above 0" if above_zero else "of 0 or more"
            msg = f"the {called} {name} is {value!r}; it must be a {'whole ' * whole}number {least}"
            raise InputError(msg)
    return kind(**given)


def _is_number(value: object, *, whole: bool) -> bool:
    kinds = int if whole else (int, float)
    return isinstance(value, kinds) and not isinstance(value, bool) and math.isfinite(value)
