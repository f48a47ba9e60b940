"""Changes of parts that were tested on one engine: which fields, how far, from which to which."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.range.novelty import CHOICES, NUMBERS
from pullbook.schemas.field_words import Described, Range
from pullbook.schemas.standing import Reason

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping, Sequence

    from pullbook.model.learning.sample import Ints

#: A change is at the edge up to so many times the largest that was tested, and outside beyond.
_EDGE = 1.25
#: Smaller shares of a number are no change.
_SAME = 0.004


@dataclass(frozen=True, slots=True)
class TestedChanges:
    """The largest changes of one engine between tests, and the choices that were swapped.

    Attributes
    ----------
    numbers
        Largest change by field, in the field's unit.
    choices
        Pairs of choices by field, each pair in the order of the alphabet.
    """

    numbers: Mapping[str, float]
    choices: Mapping[str, frozenset[tuple[str, str]]]

    def joined(self, other: TestedChanges) -> TestedChanges:
        """Return the changes that either has."""
        numbers = dict(other.numbers)
        for name, size in self.numbers.items():
            numbers[name] = max(size, numbers.get(name, 0.0))
        choices = dict(other.choices)
        for name, pairs in self.choices.items():
            choices[name] = pairs | choices.get(name, frozenset())
        return TestedChanges(numbers, choices)

    def reasons(
        self, before: Mapping[Hashable, Any], after: Mapping[Hashable, Any], changed: Sequence[str]
    ) -> list[Reason]:
        """Return why a change of an engine is not inside the tested ones, by field."""
        found = []
        for name in changed:
            if name in CHOICES:
                pair = tuple(sorted((str(before[name]), str(after[name]))))
                if pair not in self.choices.get(name, frozenset()):
                    found.append(_unseen_swap(name, str(before[name]), str(after[name])))
            elif name in NUMBERS:
                most = self.numbers.get(name, 0.0)
                old, new = float(before[name]), float(after[name])
                if abs(new - old) > most * (1 + 1e-9):
                    found.append(_large_step(name, old, new, most))
        return found


def _unseen_swap(name: str, before: str, after: str) -> Reason:
    return Reason(
        name, after, None, None, 100.0, "no tested engine was changed from {} to {}",
        (Described(name, before), Described(name, after)),
    )  # fmt: skip


def _large_step(name: str, before: float, after: float, most: float) -> Reason:
    low, high = before - most, before + most
    severity = 100.0 if most == 0 else abs(after - before) / (most * _EDGE)
    if most == 0:
        return Reason(
            name, after, before, before, severity,
            "no engine was tested before and after a change from {} to {}",
            (Described(name, before), Described(name, after)),
        )  # fmt: skip
    return Reason(
        name, after, low, high, severity,
        "the change from {} to {} is larger than any that was tested on one engine; tested changes"
        " would reach {}",
        (Described(name, before), Described(name, after), Range(name, low, high)),
    )  # fmt: skip


def changed_fields(old: Mapping[Hashable, Any], new: Mapping[Hashable, Any]) -> list[str]:
    """Return the fields of a build that both give and that differ."""
    found = []
    for name in (*CHOICES, *NUMBERS):
        if name not in old or pd.isna(old[name]) or pd.isna(new[name]):
            continue
        if name in CHOICES:
            differs = str(old[name]) != str(new[name])
        else:
            a, b = float(old[name]), float(new[name])
            differs = abs(a - b) > _SAME * max(abs(a), abs(b))
        if differs:
            found.append(name)
    return found


def fit(builds: pd.DataFrame, engine: Ints) -> TestedChanges:
    """Return the changes among the sheets of each engine of a data set."""
    numbers: dict[str, float] = {}
    choices: dict[str, set[tuple[str, str]]] = {}
    order = np.argsort(engine, kind="stable")
    starts = np.r_[np.flatnonzero(np.r_[True, np.diff(engine[order]) > 0]), len(order)]
    given = [name for name in (*NUMBERS, *CHOICES) if name in builds]
    for first, stop in pairwise(starts.tolist()):
        if stop - first < 2:
            continue
        own = builds.iloc[order[first:stop]]
        for name in given:
            known = own[name].dropna()
            if name in CHOICES:
                seen = sorted(set(known.astype(str)))
                pairs = {(a, b) for at, a in enumerate(seen) for b in seen[at + 1 :]}
                choices.setdefault(name, set()).update(pairs)
            elif len(known) > 1:
                step = float(known.max() - known.min())
                if step > _SAME * float(known.abs().max()):
                    numbers[name] = max(step, numbers.get(name, 0.0))
    return TestedChanges(
        numbers, {name: frozenset(pairs) for name, pairs in choices.items() if pairs}
    )
