"""How far a build is from the tested data.

The distance to the nearest sheets, over the features that matter to the model, is compared with the
distances of the sheets themselves to the nearest of other shops (after Meyer and Pebesma,
Predicting into unknown space?, 2021). Also the tested range of every field, and the tested choices.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullbook.pipeline.features.engineered_features import CATEGORIES
from pullbook.pipeline.features.feature_table import GIVEN
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    Seen = Mapping[str, Mapping[str, int]]

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Number of nearest sheets that a distance is averaged over.
NEAREST = 3
#: Share of the held-out sheets within the distance of the edge, and within that of outside.
EDGE_SHARE, OUTSIDE_SHARE = 0.90, 0.98
#: No threshold is below this: where all sheets are alike, a small change is not yet outside.
_LEAST_DISTANCE = 0.1
_CHUNK = 1000
#: The share of a tested range that a value may be beyond it before it is outside. Few engines do
#: not span the range that more of the same kind would, so among those it is wider.
MARGIN, _MARGIN_OF_FEW = 0.10, 2.0
#: Sizes that are worked out from several fields.
DERIVED = ("displacement", "cylinder_displacement")
NUMBERS = (
    *(name for name in BUILD_FIELDS if FIELDS[name].numeric and name not in DERIVED),
    *DERIVED,
)
CHOICES = tuple(name for name in CATEGORIES if name != "dyno")


@dataclass(frozen=True, slots=True)
class Reference:
    """The tested data, to compare builds with.

    Attributes
    ----------
    names
        Columns of the feature table that the distance is over.
    center, scale, relevance
        Of each such column: mean, standard deviation and weight in the distance; the weights sum to
        one.
    places
        The sheets as points, shape (sheets, coordinates).
    shop
        Number of the shop of each sheet.
    edge, outside
        Distances beyond which a build is at the edge, and outside.
    ranges
        Lowest and highest tested value by field.
    seen
        Number of sheets with each choice, by field.
    margin
        A value beyond the range by more than this share of it is outside, by less at the edge.
    """

    names: tuple[str, ...]
    center: Floats
    scale: Floats
    relevance: Floats
    places: Floats
    shop: Ints
    edge: float
    outside: float
    ranges: Mapping[str, tuple[float, float]]
    seen: Mapping[str, Mapping[str, int]]
    margin: float = MARGIN

    def beside(self, ranges: Mapping[str, tuple[float, float]], seen: Seen) -> Reference:
        """Return the reference with what was tested elsewhere too: ranges and choices."""
        wide = dict(self.ranges)
        for name, (low, high) in ranges.items():
            own = wide.get(name, (low, high))
            wide[name] = (min(low, own[0]), max(high, own[1]))
        counts = {name: dict(choices) for name, choices in self.seen.items()}
        for name, choices in seen.items():
            for choice, count in choices.items():
                here = counts.setdefault(name, {})
                here[choice] = here.get(choice, 0) + count
        return replace(self, ranges=wide, seen=counts)

    def places_of(self, table: pd.DataFrame) -> Floats:
        """Return builds as points in the same space, shape (builds, coordinates)."""
        return _places(table, self)

    def nearest(self, table: pd.DataFrame, most: int) -> tuple[Floats, Ints]:
        """Return distances and positions of the nearest sheets, shape (builds, most) each."""
        places = _places(table, self)
        most = min(most, len(self.places))
        nearest = [
            _nearest(places[start : start + _CHUNK], self.places, most)
            for start in range(0, len(places), _CHUNK)
        ]
        distances, positions = (np.vstack(part) for part in zip(*nearest, strict=True))
        return distances, positions


def _places(table: pd.DataFrame, reference: Reference) -> Floats:
    """Return builds as points: numbers scaled by relevance, choices as indicators."""
    parts = []
    for i, name in enumerate(reference.names):
        value = table[name].to_numpy(dtype=float)
        share = np.sqrt(reference.relevance[i])
        if name in CATEGORIES:
            levels = range(len(FIELDS[name].choices))
            parts += [share * (value == level) for level in levels]
        else:
            z = np.nan_to_num((value - reference.center[i]) / reference.scale[i])
            parts.append(share * z)
    return np.column_stack(parts)


def _squares(a: Floats, b: Floats) -> Floats:
    squares: Floats = np.sum(a**2, axis=1)[:, None] + np.sum(b**2, axis=1)[None] - 2 * a @ b.T
    return np.maximum(squares, 0.0)


def _nearest(places: Floats, sheets: Floats, most: int) -> tuple[Floats, Ints]:
    return _lowest(_squares(places, sheets), most)


def _lowest(squares: Floats, most: int) -> tuple[Floats, Ints]:
    """Return the roots of the lowest values of each row, and their places."""
    chosen = np.argpartition(squares, most - 1, axis=1)[:, :most]
    found = np.take_along_axis(squares, chosen, axis=1)
    order = np.lexsort((chosen, found), axis=1)
    return (
        np.sqrt(np.take_along_axis(found, order, axis=1)),
        np.take_along_axis(chosen, order, axis=1),
    )


def mean_distance(distances: Floats) -> Floats:
    """Return the distance of builds to the data: the mean over the first few nearest sheets.

    Infinite distances, of sheets that are not there, are left out; without any sheet it is NaN.
    """
    few = distances[:, :NEAREST]
    count = np.isfinite(few).sum(axis=1)
    total = np.where(np.isfinite(few), few, 0.0).sum(axis=1)
    mean: Floats = np.divide(total, count, out=np.full(len(few), np.nan), where=count > 0)
    return mean


def held_out_nearest(
    reference: Reference, table: pd.DataFrame, most: int, *apart: Ints
) -> tuple[Floats, Ints]:
    """Return distances and positions of the nearest sheets of other shops.

    Parameters
    ----------
    reference
        The tested data.
    table
        Features of the same sheets in the same order; some fields may have been removed.
    most
        How many are wanted.
    apart
        Numbers of further groups, such as the family, whose own sheets do not count either, shape
        (sheets,) each.

    Returns
    -------
    Shape (sheets, most) each, the nearest first; the distance of a sheet that is not there is
    infinite. With one shop only, its other sheets count.

    """
    return _nearest_of_others(_places(table, reference), reference, most, *apart)


def _nearest_of_others(
    places: Floats, reference: Reference, most: int, *apart: Ints
) -> tuple[Floats, Ints]:
    sheets, shop = reference.places, reference.shop
    one_shop = len(np.unique(shop)) == 1
    groups = (np.arange(len(shop)) if one_shop else shop, *apart)
    most = min(most, len(shop))
    found = []
    for start in range(0, len(places), _CHUNK):
        rows = slice(start, start + _CHUNK)
        squares = _squares(places[rows], sheets)
        for group in groups:
            squares[group[rows][:, None] == group[None, :]] = np.inf
        found.append(_lowest(squares, most))
    distances, positions = (np.vstack(part) for part in zip(*found, strict=True))
    return distances, positions


def fit(
    builds: pd.DataFrame, table: pd.DataFrame, relevance: Mapping[str, float], shop: Ints
) -> Reference:
    """Return the reference of the sheets a model was fitted to.

    Parameters
    ----------
    builds
        Curated builds.
    table
        Their features.
    relevance
        Weight of each column of the table in the distance.
    shop
        Number of the shop of each sheet.

    """
    columns = [str(name) for name in table]
    names = tuple(n for n in columns if not n.startswith(GIVEN) and relevance.get(n, 0.0) > 0)
    values = table[list(names)].to_numpy(dtype=float)
    count = np.maximum((~np.isnan(values)).sum(axis=0), 1)
    center = np.nansum(values, axis=0) / count
    scale = np.sqrt(np.nansum((values - center) ** 2, axis=0) / count)
    share = np.array([relevance[name] for name in names])
    without_places = Reference(
        names=names,
        center=center,
        scale=np.where(scale > 0, scale, 1.0),
        relevance=share / share.sum(),
        places=np.zeros((0, 0)),
        shop=shop,
        edge=np.inf,
        outside=np.inf,
        ranges=_ranges(builds, table),
        seen=seen_choices(builds),
        margin=max(MARGIN, _MARGIN_OF_FEW / len(np.unique(shop))),
    )
    places = _places(table, without_places)
    return _with_thresholds(replace(without_places, places=places))


def seen_choices(builds: pd.DataFrame) -> dict[str, dict[str, int]]:
    """Return how many builds have each choice, by field."""
    return {
        name: {str(k): int(n) for k, n in builds[name].value_counts().sort_index().items()}
        for name in CHOICES
    }


def _with_thresholds(reference: Reference) -> Reference:
    nearest, _ = _nearest_of_others(reference.places, reference, NEAREST)
    distance = np.nan_to_num(mean_distance(nearest))
    weight = 1.0 / np.bincount(reference.shop)[reference.shop]
    order = np.argsort(distance)
    mass = np.cumsum(weight[order]) / weight.sum()
    edge, outside = (
        float(distance[order][min(int(np.searchsorted(mass, share)), len(order) - 1)])
        for share in (EDGE_SHARE, OUTSIDE_SHARE)
    )
    # The largest distance among few is smaller than that of the next one like them.
    few = 1.0 + _MARGIN_OF_FEW / len(np.unique(reference.shop))
    return replace(
        reference,
        edge=max(edge * few, _LEAST_DISTANCE),
        outside=max(outside * few, edge * few, _LEAST_DISTANCE),
    )


def _ranges(builds: pd.DataFrame, table: pd.DataFrame) -> dict[str, tuple[float, float]]:
    ranges = {}
    for name in NUMBERS:
        source = table if name in DERIVED else builds
        known = source[name].dropna()
        if len(known):
            ranges[name] = (float(known.min()), float(known.max()))
    return ranges
