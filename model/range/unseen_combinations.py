"""Combinations never tested: pairs of parts that no sheet has, though each is common by itself.

One field is checked against its tested range. Of two fields, the sum and the difference of the
standardised values must be within the tested range: a large valve in a small bore is not, though
both were tested. How far beyond is too far is found by comparing each shop's sheets with those of
all others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.range.novelty import CHOICES, DERIVED, NUMBERS
from pullbook.pipeline.physics import engine_quantities
from pullbook.schemas.field_words import with_unit

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Share of a shop's sheets that must not be flagged by the sheets of the other shops.
_SHARE = 0.995
#: Fewest sheets with a choice, or with both of two numbers, from which a range is taken.
_ENOUGH = 80
#: Two choices count as never tested together where chance would have given at least so many sheets
#: with both, and there is none.
_EXPECTED = 8.0
#: No limit is below this share of the range.
_LEAST = 0.02
_CHUNK = 2000


@dataclass(frozen=True, slots=True)
class TestedCombinations:
    """The combinations of fields that the sheets have.

    Attributes
    ----------
    center, scale
        Of each of `NUMBERS`: mean and standard deviation.
    low, high
        Lowest and highest sum, then difference, of each pair of these.
    options
        Choices by field.
    inner_low, inner_high
        Lowest and highest of each number on sheets with a choice, shape (options, numbers).
    never
        Whether two choices were never tested together, shape (options, options).
    limits
        How far out of the range is too far, as a share of it: for two numbers, and for a number
        with a choice.
    """

    center: Floats
    scale: Floats
    low: Floats
    high: Floats
    options: tuple[tuple[str, str], ...]
    inner_low: Floats
    inner_high: Floats
    never: NDArray[np.bool_]
    limits: tuple[float, float]

    def find_unseen(self, builds: pd.DataFrame) -> list[UnseenPair | None]:
        """Return for each build the pair of parts furthest from anything tested, if there is one.

        Parameters
        ----------
        builds
            Typed builds, as `build_table.typed_builds` returns them.

        """
        found: list[UnseenPair | None] = []
        for start in range(0, len(builds), _CHUNK):
            found += self._find_unseen(builds.iloc[start : start + _CHUNK])
        return found

    def _find_unseen(self, builds: pd.DataFrame) -> list[UnseenPair | None]:
        numbers = _numbers(builds)
        z = (numbers - self.center) / self.scale
        has = _has(builds, self.options)
        pairs = _beyond(_projected(z), self.low, self.high)
        worst = _worst(pairs)
        inner = _within_choices(z, has, self.inner_low, self.inner_high)
        worst_inner = _worst(inner.reshape(len(z), -1))
        never = (has @ self.never) & has
        first, second = _pairs()
        found: list[UnseenPair | None] = []
        for row in range(len(builds)):
            if never[row].any():
                one = int(np.argmax(never[row]))
                other = int(np.argmax(self.never[one] & has[row]))
                found.append(UnseenPair(*self.options[one], *self.options[other], 2.0))
                continue
            far, at = worst[0][row], int(worst[1][row])
            far_inner, at_inner = worst_inner[0][row], int(worst_inner[1][row])
            far, far_inner = far / self.limits[0], far_inner / self.limits[1]
            severity = float(max(far, far_inner))
            if severity <= 1:
                found.append(None)
                continue
            if far >= far_inner:
                pair = (int(first[at % len(first)]), int(second[at % len(first)]))
                parts = [(NUMBERS[i], float(numbers[row, i])) for i in pair]
            else:
                option, number = divmod(at_inner, len(NUMBERS))
                parts = [self.options[option], (NUMBERS[number], float(numbers[row, number]))]  # type: ignore[list-item]
            (a, x), (b, y) = parts
            found.append(UnseenPair(a, x, b, y, severity))
        return found


@dataclass(frozen=True, slots=True)
class UnseenPair:
    """Two fields whose values were never tested together; ``severity`` above 1 means outside."""

    field: str
    value: float | str
    other: str
    other_value: float | str
    severity: float

    def __str__(self) -> str:
        """Return the two with their values, fields in the code's spelling, as JSON holds them."""
        both = (self.field, self.value), (self.other, self.other_value)
        return " with ".join(
            f"{name} {value if isinstance(value, str) else with_unit(name, value)}"
            for name, value in both
        )


def fit(builds: pd.DataFrame, shop: Ints) -> TestedCombinations:
    """Return the combinations that the sheets have, with limits where there are two shops.

    Parameters
    ----------
    builds
        Curated builds.
    shop
        Number of the shop of each sheet.

    """
    tested = learn(builds, (1.0, 1.0))
    if len(np.unique(shop)) < 2:
        return tested
    return replace(tested, limits=_limits(tested, builds, shop))


def learn(builds: pd.DataFrame, limits: tuple[float, float]) -> TestedCombinations:
    """Return the combinations that the sheets have, with limits that are known."""
    numbers = _numbers(builds)
    count = np.maximum((~np.isnan(numbers)).sum(axis=0), 1)
    center = np.nansum(numbers, axis=0) / count
    scale = np.sqrt(np.nansum((numbers - center) ** 2, axis=0) / count)
    scale = np.where(scale > 0, scale, 1.0)
    z = (numbers - center) / scale
    options = tuple(
        (name, str(choice)) for name in CHOICES for choice in sorted(builds[name].dropna().unique())
    )
    has = _has(builds, options)
    projected = _projected(z)
    low, high = _extremes(projected)
    low[(~np.isnan(projected)).sum(axis=0) < _ENOUGH] = np.nan
    inner = np.stack([_extremes(z[has[:, at]]) for at in range(len(options))], axis=1) if (
        options) else np.zeros((2, 0, len(NUMBERS)))  # fmt: skip
    for at in range(len(options)):
        inner[:, at, (~np.isnan(z[has[:, at]])).sum(axis=0) < _ENOUGH] = np.nan
    return TestedCombinations(
        center=center,
        scale=scale,
        low=low,
        high=high,
        options=options,
        inner_low=inner[0],
        inner_high=inner[1],
        never=_never(has, options),
        limits=limits,
    )


def _limits(tested: TestedCombinations, builds: pd.DataFrame, shop: Ints) -> tuple[float, float]:
    """Return how far nearly all sheets of a shop are out of the ranges of all other shops."""
    z = (_numbers(builds) - tested.center) / tested.scale
    has, projected = _has(builds, tested.options), _projected(z)
    beyond = _beyond(projected, *_extremes_of_others(projected, shop))
    beyond[:, np.isnan(tested.low)] = np.nan
    pairs = _worst(beyond)[0]
    inner = np.full(len(builds), -np.inf)
    for at in range(len(tested.options)):
        rows = has[:, at]
        if len(np.unique(shop[rows])) < 2:
            continue
        there = _beyond(z[rows], *_extremes_of_others(z[rows], shop[rows]))
        there[:, np.isnan(tested.inner_low[at])] = np.nan
        inner[rows] = np.fmax(inner[rows], _worst(there)[0])
    return _exceeded_by_few(pairs, shop), _exceeded_by_few(inner, shop)


def _exceeded_by_few(far: Floats, shop: Ints) -> float:
    weight = 1.0 / np.bincount(shop)[shop]
    order = np.argsort(far)
    mass = np.cumsum(weight[order]) / weight.sum()
    place = min(int(np.searchsorted(mass, _SHARE)), len(order) - 1)
    return max(_LEAST, float(far[order][place]))


def _numbers(builds: pd.DataFrame) -> Floats:
    size = engine_quantities.size_of(builds)
    sizes = {"displacement": size.engine, "cylinder_displacement": size.cylinder}
    return np.column_stack([
        sizes[name] if name in DERIVED else builds[name].to_numpy(dtype=float, na_value=np.nan)
        for name in NUMBERS
    ])  # fmt: skip


def _has(builds: pd.DataFrame, options: tuple[tuple[str, str], ...]) -> NDArray[np.bool_]:
    columns = [(builds[name] == choice).fillna(value=False) for name, choice in options]
    has: NDArray[np.bool_] = np.zeros((len(builds), len(options)), dtype=bool)
    for at, column in enumerate(columns):
        has[:, at] = column.to_numpy(dtype=bool)
    return has


def _pairs() -> tuple[Ints, Ints]:
    return np.triu_indices(len(NUMBERS), 1)


def _projected(z: Floats) -> Floats:
    """Return the sums, then the differences, of every pair of numbers."""
    first, second = _pairs()
    return np.hstack([z[:, first] + z[:, second], z[:, first] - z[:, second]])


def _extremes(values: Floats) -> Floats:
    """Return lowest and highest by column, shape (2, columns); NaN where no value is known."""
    known = ~np.isnan(values)
    low = np.where(known, values, np.inf).min(axis=0, initial=np.inf)
    high = np.where(known, values, -np.inf).max(axis=0, initial=-np.inf)
    return np.where(np.isfinite(low), [low, high], np.nan)


def _extremes_of_others(values: Floats, shop: Ints) -> tuple[Floats, Floats]:
    """Return for each row the lowest and highest, by column, of the rows of other shops."""
    names, number = np.unique(shop, return_inverse=True)
    order = np.argsort(number, kind="stable")
    starts = np.r_[0, np.cumsum(np.bincount(number))[:-1]]
    found = []
    for sign in (-1.0, 1.0):
        most = np.maximum.reduceat(np.nan_to_num(sign * values, nan=-np.inf)[order], starts, axis=0)
        top = most.argmax(axis=0)
        best = most.max(axis=0)
        most[top, np.arange(most.shape[1])] = -np.inf
        second = most.max(axis=0)
        rest = np.where(np.arange(len(names))[:, None] == top, second, best)
        found.append(sign * np.where(np.isfinite(rest), rest, np.nan)[number])
    return found[0], found[1]


def _beyond(values: Floats, low: Floats, high: Floats) -> Floats:
    """Return how far values are beyond limits, as a share of the distance between the limits."""
    wide = np.where(high > low, high - low, np.nan)
    return np.maximum(low - values, values - high) / wide


def _within_choices(z: Floats, has: NDArray[np.bool_], low: Floats, high: Floats) -> Floats:
    """Return how far each number is out of the range tested with each choice of the build."""
    beyond = _beyond(z[:, None, :], low[None], high[None])
    beyond[~has] = np.nan
    return beyond


def _worst(beyond: Floats) -> tuple[Floats, Ints]:
    known = np.nan_to_num(beyond, nan=-np.inf)
    if known.shape[1] == 0:
        return np.full(len(known), -np.inf), np.zeros(len(known), dtype=np.int64)
    return known.max(axis=1), known.argmax(axis=1)


def _never(has: NDArray[np.bool_], options: tuple[tuple[str, str], ...]) -> NDArray[np.bool_]:
    both = has.T.astype(float) @ has.astype(float)
    count = np.diag(both)
    field = np.array([name for name, _ in options])
    given = {name: float(has[:, field == name].any(axis=1).sum()) for name in set(field.tolist())}
    known = np.array([given[name] for name in field.tolist()])
    expected = count[:, None] * count[None] / np.maximum(np.minimum(known[:, None], known), 1.0)
    never: NDArray[np.bool_] = (
        (both == 0) & (expected >= _EXPECTED) & (field[:, None] != field[None])
    )
    return never
