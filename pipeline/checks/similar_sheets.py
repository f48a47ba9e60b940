"""Rules that need other sheets to compare with: copies, and what is unlike the rest of a shop."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Told = list[tuple[int, Finding]]

#: Engine speeds at which curves are compared; windows of four find the candidates.
_GRID = np.arange(1000.0, 9001.0, 250.0)
_WINDOWS = [slice(start, start + 7, 2) for start in (2, 6, 10, 14, 18)]
#: Two pulls of one engine differ by more than this from reading to reading; a copy does not.
_SAME = 0.001
_NEAR = 0.0025
_FEWEST = 8
#: Fewer readings must agree more closely; with fewer than the least nothing can be said.
_SAME_OF_FEW, _LEAST = 0.0004, 5
#: Pairs compared at a time; their number grows with the square of the sheets, memory need not.
_PAIRS = 65_536
#: Station pressure of one place varies by less than this, inHg, from its middle.
_WEATHER_INHG = 1.5
_FEWEST_SHEETS = 4


class Copies(NamedTuple):
    """Which sheets are copies of one another.

    Attributes
    ----------
    counts
        For each sheet how many say the same, itself among them, shape (sheets,).
    pairs
        Places of the two sheets and the factor between them, a row a pair, shape (pairs, 3).
    """

    counts: Ints
    pairs: Floats


def copies(size: Floats, sheet: Ints, rpm: Floats, torque: Floats) -> Copies:
    """Find sheets whose curve is another's, or another's times a number.

    A correction undone or not, a unit mistaken and a dyno's scale all multiply a curve; noise
    does not. So curves are compared by their shape, whatever shop, unit or name they come under.

    Parameters
    ----------
    size
        Displacement of each sheet, shape (sheets,); copies are of one size.
    sheet
        For each reading the place of its sheet; rising.
    rpm, torque
        Of each reading.

    """
    from scipy.spatial import cKDTree  # noqa: PLC0415 - slow to import

    readings = _by_speed(len(size), sheet, rpm, torque)
    curves = _curves(readings)
    codes = [np.empty(0, dtype=np.int64)]
    for window in _WINDOWS:
        part = curves[:, window]
        whole = np.flatnonzero(~np.isnan(part).any(axis=1))
        if len(whole) < 2:
            continue
        shape = np.column_stack([np.diff(part[whole]), np.log(size[whole])])
        near = whole[cKDTree(shape).query_pairs(_NEAR, output_type="ndarray")]
        codes.append(near[:, 0] * len(size) + near[:, 1])
    candidates = np.unique(np.concatenate(codes))
    kept = [np.empty((0, 3))]
    for start in range(0, len(candidates), _PAIRS):
        first, second = np.divmod(candidates[start : start + _PAIRS], len(size))
        factor = _factors(readings, first, second)
        same = ~np.isnan(factor)
        kept.append(np.column_stack([first, second, factor])[same])
    pairs = np.concatenate(kept)
    return Copies(_group_sizes(len(size), pairs[:, :2].astype(np.int64)), pairs)


class _Readings(NamedTuple):
    """Readings by sheet and engine speed, one a speed.

    Attributes
    ----------
    bounds
        Where each sheet's readings begin, and where the last's end, shape (sheets + 1,).
    rpm, log_torque
        Of each reading.
    speeds
        All engine speeds that occur, rising.
    key
        For each reading ``sheet * len(speeds) + speed``, by places; rising.
    """

    bounds: Ints
    rpm: Floats
    log_torque: Floats
    speeds: Floats
    key: Ints


def _by_speed(sheets: int, sheet: Ints, rpm: Floats, torque: Floats) -> _Readings:
    speeds, speed = np.unique(rpm, return_inverse=True)
    key, first = np.unique(sheet * len(speeds) + speed, return_index=True)
    bounds = np.searchsorted(key, np.arange(sheets + 1) * len(speeds))
    return _Readings(bounds, rpm[first], np.log(torque[first]), speeds, key)


def _factors(readings: _Readings, first: Ints, second: Ints) -> Floats:
    """Return what each first curve is its second's times, reading by reading; NaN if it is not."""
    pairs, start = len(first), readings.bounds[first]
    counts = readings.bounds[first + 1] - start
    pair = np.repeat(np.arange(pairs), counts)
    here = np.arange(len(pair)) + (start - np.cumsum(counts) + counts)[pair]
    sought = readings.key[here] + ((second - first) * len(readings.speeds))[pair]
    there = np.minimum(np.searchsorted(readings.key, sought), len(readings.key) - 1)
    met = readings.key[there] == sought
    pair, apart = pair[met], (readings.log_torque[here] - readings.log_torque[there])[met]
    shared = np.bincount(pair, minlength=pairs)
    mean = np.bincount(pair, apart, pairs) / np.maximum(shared, 1)
    spread = np.bincount(pair, (apart - mean[pair]) ** 2, pairs) / np.maximum(shared, 1)
    limit = np.where(shared >= _FEWEST, _SAME, _SAME_OF_FEW)
    return np.where((shared >= _LEAST) & (np.sqrt(spread) <= limit), np.exp(mean), np.nan)


def _curves(readings: _Readings) -> Floats:
    """Return the logarithm of the torque of each sheet on the grid; NaN beyond its sweep."""
    bounds = readings.bounds
    curves = np.full((len(bounds) - 1, len(_GRID)), np.nan)
    for i in np.flatnonzero(np.diff(bounds)):
        own = slice(bounds[i], bounds[i + 1])
        curves[i] = np.interp(
            _GRID, readings.rpm[own], readings.log_torque[own], left=np.nan, right=np.nan
        )
    return curves


def _group_sizes(sheets: int, pairs: Ints) -> Ints:
    from scipy.sparse import coo_matrix  # noqa: PLC0415
    from scipy.sparse.csgraph import connected_components  # noqa: PLC0415

    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(sheets, sheets))
    _, group = connected_components(links, directed=False)
    counts: Ints = np.bincount(group)[group]
    return counts


def copies_told(found: Copies, names: list[str]) -> Told:
    """Return the findings of copies, one a sheet, with the place of the sheet."""
    told: dict[int, Finding] = {}
    for first, second, factor in found.pairs:
        for here, there, times in (
            (int(first), int(second), factor), (int(second), int(first), 1 / factor),
        ):  # fmt: skip
            exact = abs(times - 1) <= _SAME
            message = f"its curve is that of {names[there]}"
            message += "" if exact else f" times {times:.3f}, reading by reading"
            message += "; together they weigh as one sheet"
            told.setdefault(here, Finding("copy" if exact else "near-copy", message, None, None))
    return sorted(told.items())


def barometers_told(builds: pd.DataFrame) -> Told:
    """Return findings of sheets whose barometer stands far above the others of their shop.

    Where most of a shop's sheets show the pressure of its height, one near sea level's was likely
    reduced to sea level.
    """
    told: Told = []
    read = builds["barometer"]
    middle = read.groupby(builds["shop"]).transform("median")
    enough = read.groupby(builds["shop"]).transform("count") >= _FEWEST_SHEETS
    for place in np.flatnonzero((enough & (read - middle > _WEATHER_INHG)).to_numpy()):
        message = (
            f"barometer is {read.iloc[place]:.2f} inHg; half of the shop's sheets show"
            f" {middle.iloc[place]:.2f} or less: was it reduced to sea level?"
        )
        told.append((int(place), Finding("shop-barometer", message, "barometer")))
    return told
