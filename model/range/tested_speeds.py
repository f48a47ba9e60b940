"""Which engine speeds were tested near a build, and so are answered."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    Floats = NDArray[np.float64]

#: Number of nearest sheets that decide whether an engine speed is supported, and how many of them
#: must have been swept over it.
NEAREST, _FEWEST = 12, 3
#: The engine speeds that are asked for unless others are: lowest, highest and step, rev/min.
DEFAULT_RPM = (2000.0, 6500.0, 250.0)


def speeds_of(low: float, high: float, step: float) -> Floats:
    """Return engine speeds from low to high; high is included if the steps reach it.

    >>> speeds_of(2000, 3000, 500).tolist()
    [2000.0, 2500.0, 3000.0]
    """
    return np.arange(low, high + step * 1e-9, step)


def band_speeds(band: tuple[float, float]) -> Floats:
    """Return engine speeds over a band: every 250 rpm, or eight steps where it is narrow.

    >>> band_speeds((2500, 3500)).tolist()
    [2500.0, 2750.0, 3000.0, 3250.0, 3500.0]
    """
    low, high = band
    step = DEFAULT_RPM[2]
    return speeds_of(low, high, step if high - low >= 4 * step else (high - low) / 8)


def supported(sweeps: Floats, own: Floats | None, rpm: Floats) -> NDArray[np.bool_]:
    """Return which engine speeds enough of the nearest sheets, or own pulls, were swept over.

    Parameters
    ----------
    sweeps
        Lowest and highest rpm of the nearest sheets of each build, shape (builds, sheets, 2); NaN
        where there are fewer.
    own
        Lowest and highest rpm of the measured pulls of its engine, shape (builds, 2), NaN without.
    rpm
        Engine speeds, shape (speeds,).

    Returns
    -------
    Shape (builds, speeds).

    """
    low, high = sweeps[:, :, :1], sweeps[:, :, 1:]
    swept = ((low <= rpm) & (rpm <= high)).sum(axis=1)
    there = np.isfinite(sweeps[:, :, 0]).sum(axis=1)
    enough: NDArray[np.bool_] = swept >= np.clip(there, 1, _FEWEST)[:, None]
    if own is not None:
        enough |= (own[:, :1] <= rpm) & (rpm <= own[:, 1:])
    return enough


def answered(sweeps: Floats, own: Floats | None = None, rpm: Floats | None = None) -> Floats:
    """Return the first and the last asked speed that is supported, shape (builds, 2).

    Parameters as for `supported`; NaN where none is. Asked are `DEFAULT_RPM` unless ``rpm`` says
    otherwise.

    >>> answered(np.array([[[1900, 5100.0]] * 3])).tolist()
    [[2000.0, 5000.0]]
    """
    asked = speeds_of(*DEFAULT_RPM) if rpm is None else rpm
    found = supported(sweeps, own, asked)
    ends = np.column_stack(
        [asked[found.argmax(axis=1)], asked[::-1][found[:, ::-1].argmax(axis=1)]]
    )
    ends[~found.any(axis=1)] = np.nan
    return ends


def sweeps_near(sweeps: Floats, distances: Floats, positions: NDArray[np.int64]) -> Floats:
    """Return the sweeps of the nearest sheets, NaN for one that is not there.

    Parameters
    ----------
    sweeps
        Lowest and highest rpm of every sheet, shape (sheets, 2).
    distances, positions
        As `novelty.held_out_nearest` returns them, shape (builds, nearest).

    """
    near: Floats = np.where(np.isfinite(distances)[:, :, None], sweeps[positions], np.nan)
    return near
