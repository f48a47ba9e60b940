"""Which part of a band was tested."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.comparison.compare import CompareError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.prediction.prediction import Prediction

#: Step in which the tested speeds are looked for, rev/min.
_STEP = 10.0


def check_band(builds: Sequence[Prediction], band: tuple[float, float]) -> str | None:
    """Return a warning where a band goes beyond the speeds that builds like these were tested at.

    Raises
    ------
    CompareError
        Builds like these were not tested anywhere in the band.

    """
    rpm = np.linspace(*band, 81)
    supported = np.all([one.supported(rpm) for one in builds], axis=0)
    if supported.all():
        return None
    lowest, highest = builds[0].speeds[[0, -1]]
    grid = np.arange(_STEP * np.ceil(lowest / _STEP), highest, _STEP)
    tested = grid[np.all([one.supported(grid) for one in builds], axis=0)]
    such = "a build like this one" if len(builds) == 1 else "builds like all of these"
    where = f"only from {tested[0]:.0f} to {tested[-1]:.0f} rpm" if len(tested) else "at no speed"
    if len(tested):
        where += ", so means are over the tested part"
    asked = f"{band[0]:.0f} to {band[1]:.0f} rpm"
    if not supported.any():
        msg = f"{such} {_were(builds)} not tested from {asked}, {where}"
        raise CompareError(msg)
    return f"The band {asked} goes beyond the data: {such} {_were(builds)} tested {where}."


def _were(builds: Sequence[Prediction]) -> str:
    return "was" if len(builds) == 1 else "were"
