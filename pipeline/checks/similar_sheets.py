"""Rules that compare a sheet with others: copies, and barometers unlike the rest of the shop."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    PlacedFindings = list[tuple[int, Finding]]

#: Engine speeds at which curves are compared; windows of four speeds find the candidates.
_GRID = np.arange(1000.0, 9001.0, 250.0)
_WINDOWS = [slice(start, start + 7, 2) for start in (2, 6, 10, 14, 18)]
#: Two pulls of one engine scatter by more than this from reading to reading; copies do not.
_SAME = 0.001
_NEAR = 0.004
_FEWEST = 8
#: With fewer readings they must agree more closely; with fewer than the least none is a copy.
_SAME_OF_FEW, _LEAST = 0.0004, 5
#: Steps that torque may be rounded to, lb-ft.
_STEPS = (5.0, 2.0, 1.0, 0.5, 0.2, 0.1)
#: Pairs compared at a time, so that memory does not grow with the square of the sheets.
_PAIRS = 65_536
#: Station pressure of one place differs from its median by less than this, inHg.
_WEATHER_INHG = 1.5
_FEWEST_SHEETS = 4


class Copies(NamedTuple):
    """Sheets that are copies of each other.

    Attributes
    ----------
    counts
        Number of copies of each sheet, itself included, shape (sheets,).
    pairs
        Indices of two sheets and the factor between their curves, shape (pairs, 3).
    """

    counts: Ints
    pairs: Floats


def copies(size: Floats, sheet: Ints, rpm: Floats, torque: Floats) -> Copies:
    """Find sheets with the same curve, or with the same curve times a constant.

    A correction, a wrong unit and the scale of a dyno all multiply a curve; noise does not. So
    curves are compared by their shape, regardless of shop, unit and name.

    Parameters
    ----------
    size
        Displacement of each sheet, shape (sheets,); copies have the same size.
    sheet
        Index of the sheet of each reading, rising, shape (readings,).
    rpm, torque
        Engine speed and torque of each reading, shape (readings,).

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
    """Readings sorted by sheet and engine speed, one per speed.

    Attributes
    ----------
    bounds
        Where the readings of each sheet start, and where the last ones end, shape (sheets + 1,).
    rpm, log_torque
        Engine speed and logarithm of the torque of each reading, shape (readings,).
    speeds
        All engine speeds that occur, rising.
    key
        ``sheet * len(speeds) + speed`` of each reading, as indices; rising.
    rounding
        Standard deviation of the logarithm of the torque of each sheet by rounding, shape
        (sheets,).
    """

    bounds: Ints
    rpm: Floats
    log_torque: Floats
    speeds: Floats
    key: Ints
    rounding: Floats


def _by_speed(sheets: int, sheet: Ints, rpm: Floats, torque: Floats) -> _Readings:
    speeds, speed = np.unique(rpm, return_inverse=True)
    key, first = np.unique(sheet * len(speeds) + speed, return_index=True)
    bounds = np.searchsorted(key, np.arange(sheets + 1) * len(speeds))
    return _Readings(
        bounds, rpm[first], np.log(torque[first]), speeds, key, _rounding(bounds, torque[first])
    )


def _rounding(bounds: Ints, torque: Floats) -> Floats:
    """Return how much rounding scatters the logarithm of each sheet's torque."""
    scatter = np.zeros(len(bounds) - 1)
    some = np.flatnonzero(np.diff(bounds))
    if not len(some):
        return scatter
    starts, left = bounds[some], np.ones(len(some), dtype=bool)
    mean = np.add.reduceat(torque, starts) / np.diff(bounds)[some]
    for step in _STEPS:
        off = np.abs(torque / step - np.round(torque / step))
        here = left & (np.maximum.reduceat(off, starts) < 1e-6)
        scatter[some[here]] = step / np.sqrt(12) / mean[here]
        left &= ~here
    return scatter


def _factors(readings: _Readings, first: Ints, second: Ints) -> Floats:
    """Return the factor from each second curve to its first; NaN if it is not constant."""
    pairs, start = len(first), readings.bounds[first]
    counts = readings.bounds[first + 1] - start
    pair = np.repeat(np.arange(pairs), counts)
    here = np.arange(len(pair)) + (start - np.cumsum(counts) + counts)[pair]
    sought = readings.key[here] + ((second - first) * len(readings.speeds))[pair]
    there = np.minimum(np.searchsorted(readings.key, sought), len(readings.key) - 1)
    found = readings.key[there] == sought
    pair, ratio = pair[found], (readings.log_torque[here] - readings.log_torque[there])[found]
    shared = np.bincount(pair, minlength=pairs)
    mean = np.bincount(pair, ratio, pairs) / np.maximum(shared, 1)
    spread = np.bincount(pair, (ratio - mean[pair]) ** 2, pairs) / np.maximum(shared, 1)
    limit = np.hypot(
        np.where(shared >= _FEWEST, _SAME, _SAME_OF_FEW),
        np.hypot(readings.rounding[first], readings.rounding[second]),
    )
    return np.where((shared >= _LEAST) & (np.sqrt(spread) <= limit), np.exp(mean), np.nan)


def _curves(readings: _Readings) -> Floats:
    """Return the logarithm of the torque of each sheet on the grid; NaN outside its sweep."""
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


def report_copies(found: Copies, names: list[str]) -> PlacedFindings:
    """Return one finding for each copied sheet, with the index of the sheet."""
    findings: dict[int, Finding] = {}
    for first, second, factor in found.pairs:
        for here, there, times in (
            (int(first), int(second), factor), (int(second), int(first), 1 / factor),
        ):  # fmt: skip
            exact = abs(times - 1) <= _SAME
            message = f"The curve is that of {names[there]}"
            message += "" if exact else f" times {times:.3f} at every reading"
            message += "; together they count as one sheet."
            findings.setdefault(
                here, Finding("copy" if exact else "near-copy", message, None, None)
            )
    return sorted(findings.items())


def report_barometers(builds: pd.DataFrame) -> PlacedFindings:
    """Return a finding for each sheet whose barometer is far above the others of its shop.

    If most sheets of a shop show the pressure at its elevation, a pressure as at sea level was
    probably reduced to sea level.
    """
    findings: PlacedFindings = []
    read = builds["barometer"]
    middle = read.groupby(builds["shop"]).transform("median")
    enough = read.groupby(builds["shop"]).transform("count") >= _FEWEST_SHEETS
    for place in np.flatnonzero((enough & (read - middle > _WEATHER_INHG)).to_numpy()):
        message = (
            f"Barometer is {read.iloc[place]:.2f} inHg; half of the shop's sheets have"
            f" {middle.iloc[place]:.2f} inHg or less. Give the station pressure, not the one"
            " reduced to sea level."
        )
        findings.append((int(place), Finding("shop-barometer", message, "barometer")))
    return findings
