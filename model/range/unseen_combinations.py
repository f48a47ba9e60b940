"""What is found together: pairs of parts that no sheet has, though each is common by itself.

A range says what one field may be. Of two fields it is their sum and difference, standardised,
that must lie within what was tested: a large valve in a small bore does not, though both were
seen. How far beyond is too far is read off the sheets of each shop against those of all others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.range.novelty import CHOICES, DERIVED, NUMBERS
from pullbook.pipeline.physics import engine_quantities
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Share of the sheets of a shop that its fellows' sheets must leave unflagged.
_SHARE = 0.995
#: Sheets with a choice, or with both of two numbers, that say what goes with it.
_ENOUGH = 80
#: Sheets with both of two choices that chance alone would have led to, for none to be telling.
_EXPECTED = 8.0
_LEAST = 0.02
_CHUNK = 2000


@dataclass(frozen=True, slots=True)
class Together:
    """What the sheets have together.

    Attributes
    ----------
    center, scale
        Of each of `NUMBERS`: mean and standard deviation.
    low, high
        Lowest and highest of the sums, then of the differences, of each pair of them.
    options
        Choices by field.
    inner_low, inner_high
        Lowest and highest of each number on sheets with a choice, shape (options, numbers).
    never
        Whether two choices were never together, shape (options, options).
    limits
        How far beyond is too far, as a share of the range: for two numbers, and for a number with
        a choice.
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

    def apart(self, builds: pd.DataFrame) -> list[Apart | None]:
        """Return for each build the two parts that are least found together, if any are not.

        Parameters
        ----------
        builds
            Typed builds, as `build_table.typed_builds` gives them.

        """
        found: list[Apart | None] = []
        for start in range(0, len(builds), _CHUNK):
            found += self._apart(builds.iloc[start : start + _CHUNK])
        return found

    def _apart(self, builds: pd.DataFrame) -> list[Apart | None]:
        numbers = _numbers(builds)
        z = (numbers - self.center) / self.scale
        has = _has(builds, self.options)
        pairs = _beyond(_projected(z), self.low, self.high)
        worst = _worst(pairs)
        inner = _within_choices(z, has, self.inner_low, self.inner_high)
        worst_inner = _worst(inner.reshape(len(z), -1))
        never = (has @ self.never) & has
        first, second = _pairs()
        found: list[Apart | None] = []
        for row in range(len(builds)):
            if never[row].any():
                one = int(np.argmax(never[row]))
                other = int(np.argmax(self.never[one] & has[row]))
                found.append(Apart(*self.options[one], *self.options[other], 2.0))
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
                told = [(NUMBERS[i], float(numbers[row, i])) for i in pair]
            else:
                option, number = divmod(at_inner, len(NUMBERS))
                told = [self.options[option], (NUMBERS[number], float(numbers[row, number]))]  # type: ignore[list-item]
            (a, x), (b, y) = told
            found.append(Apart(a, x, b, y, severity))
        return found


@dataclass(frozen=True, slots=True)
class Apart:
    """Two fields whose values were not tested together; ``severity`` above 1 means outside."""

    field: str
    value: float | str
    other: str
    other_value: float | str
    severity: float

    def __str__(self) -> str:
        """Return the two as a builder would say them."""
        return f"{_said(self.field, self.value)} with {_said(self.other, self.other_value)}"


def _said(field: str, value: float | str) -> str:
    return f"{field} {value if isinstance(value, str) else with_unit(field, value)}"


def with_unit(field: str, value: float) -> str:
    """Return a number of a field, or of a size that no field tells, as a person writes it.

    >>> with_unit("compression_ratio", 9.5), with_unit("bore", 4.0), with_unit("cylinders", 8)
    ('9.5:1', '4 in', '8')
    """
    unit = FIELDS[field].unit if field in FIELDS else "in3"
    return f"{value:.4g} {unit}".rstrip().replace(" :", ":")


def fit(builds: pd.DataFrame, shop: Ints) -> Together:
    """Return what the sheets have together.

    Parameters
    ----------
    builds
        Their builds.
    shop
        Number of the shop of each sheet.

    """
    made = learn(builds, (1.0, 1.0))
    return made if len(np.unique(shop)) < 2 else replace(made, limits=_limits(made, builds, shop))


def learn(builds: pd.DataFrame, limits: tuple[float, float]) -> Together:
    """Return what sheets have together, where it is known how far beyond is too far."""
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
    return Together(
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


def _limits(made: Together, builds: pd.DataFrame, shop: Ints) -> tuple[float, float]:
    """Return what the sheets of a shop go beyond those of all others by, but for a few."""
    z = (_numbers(builds) - made.center) / made.scale
    has, projected = _has(builds, made.options), _projected(z)
    apart = _beyond(projected, *_extremes_of_others(projected, shop))
    apart[:, np.isnan(made.low)] = np.nan
    pairs = _worst(apart)[0]
    inner = np.full(len(builds), -np.inf)
    for at in range(len(made.options)):
        rows = has[:, at]
        if len(np.unique(shop[rows])) < 2:
            continue
        there = _beyond(z[rows], *_extremes_of_others(z[rows], shop[rows]))
        there[:, np.isnan(made.inner_low[at])] = np.nan
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
    """Return lowest and highest by column, shape (2, columns); not a number where none is known."""
    known = ~np.isnan(values)
    low = np.where(known, values, np.inf).min(axis=0, initial=np.inf)
    high = np.where(known, values, -np.inf).max(axis=0, initial=-np.inf)
    return np.where(np.isfinite(low), [low, high], np.nan)


def _extremes_of_others(values: Floats, shop: Ints) -> tuple[Floats, Floats]:
    """Return for each row lowest and highest by column of the rows of other shops."""
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
    """Return how far values lie beyond limits, as a share of what lies between them."""
    wide = np.where(high > low, high - low, np.nan)
    return np.maximum(low - values, values - high) / wide


def _within_choices(z: Floats, has: NDArray[np.bool_], low: Floats, high: Floats) -> Floats:
    """Return how far each number lies beyond what goes with each choice that a build has."""
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
