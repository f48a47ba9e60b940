"""The settings of a training run: the section ``train`` of params.yaml."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any, TypeVar

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

_Kind = TypeVar("_Kind")
#: What settings must lie in that a number above nought does not say.
_RANGES = {"folds": (2.0, math.inf), "leaves": (2.0, math.inf), "feature_share": (0.0, 1.0),
           "learning_rate": (0.0, 1.0)}  # fmt: skip


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
    InputError
        A name is not a setting, or a value is not a number above nought, or not one it can be.

    """
    found = numbers_of(Settings, given, called="training setting", above_nought=True)
    for name, (low, high) in _RANGES.items():
        if not low <= getattr(found, name) <= high:
            most = "or more" if math.isinf(high) else f"to {high:g}"
            msg = f"the training setting {name} is {getattr(found, name)}; it may be {low:g} {most}"
            raise InputError(msg)
    return found


def numbers_of(
    kind: type[_Kind], given: Mapping[str, Any], *, called: str, above_nought: bool
) -> _Kind:
    """Return a dataclass of numbers with some values of their own.

    Parameters
    ----------
    kind
        The dataclass; a field whose value is a whole number takes only those.
    given
        Values by name.
    called
        What one of its fields is to the reader of a message.
    above_nought
        Whether nought is refused too.

    Raises
    ------
    InputError
        A name is no field, or a value is no such number.

    """
    known = {field.name: field.default for field in fields(kind)}  # type: ignore[arg-type]
    for name, value in given.items():
        if name not in known:
            msg = f"{name!r} is not a {called}; there are {', '.join(sorted(known))}"
            raise InputError(msg)
        whole = isinstance(known[name], int)
        if not _is_number(value, whole=whole) or not value >= 0 or (above_nought and value == 0):
            least = "above nought" if above_nought else "from nought"
            msg = f"the {called} {name} is {value!r}; it must be a {'whole ' * whole}number {least}"
            raise InputError(msg)
    return kind(**given)


def _is_number(value: object, *, whole: bool) -> bool:
    kinds = int if whole else (int, float)
    return isinstance(value, kinds) and not isinstance(value, bool) and math.isfinite(value)
