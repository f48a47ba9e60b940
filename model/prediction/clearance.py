"""How far the torque of a build clears a load, and how likely it does at each engine speed.

The chance comes from the errors behind the limits of a single reading: those of held-out sheets, in
expected errors, as the chances of a comparison do. An error counts as likely above as below. What
is cleared is judged at a level that so many shops or engines can keep: n / (n + 1) at the most.

At how many speeds at once it is cleared depends on how errors go together over a curve, which the
limits of the whole curve tell: a curve that stays within them clears whatever lies below them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.prediction.intervals import betweens
from pullbook.pipeline.loads.load_torque import speeds_of, torque_of
from pullbook.schemas.answer import Between
from pullbook.schemas.on_request import Clearance, LoadPoint

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.on_request import Load

#: How far apart speeds are looked at where none are asked for, rev/min.
_STEP = 50.0


def clearance(found: Prediction, load: Load, rpm: Floats, level: float) -> Clearance:
    """Return how far a build clears a load at engine speeds, rev/min.

    Parameters
    ----------
    found
        The prediction of the build.
    load
        The load.
    rpm
        Engine speeds, rising; those that the load covers count, and its own ends.
    level
        Level of the limits, and the chance that counts as cleared, or what so few groups can keep.

    """
    at = speeds_of(load, rpm)
    wanted = torque_of(load, at)
    limits = betweens(found.torque(at), found.width(at), found.factor("point", level))
    chances = chance_above(found, at, wanted)
    supported = found.supported(at).tolist()
    points = []
    for place, (speed, torque) in enumerate(zip(at.tolist(), wanted.tolist(), strict=True)):
        known, margin = supported[place], _less(limits[place], torque)
        chance = float(chances[place]) if known and chances is not None else None
        points.append(LoadPoint(speed, torque, margin, chance, known))
    tested = found.supported(at)
    together = _chance_of_all(found, at[tested], wanted[tested])
    return Clearance(load, found.kept("point", level) or level, points, together)


def of_goal(found: Prediction, loads: Sequence[Load], level: float) -> tuple[Clearance, ...]:
    """Return how far a build clears loads at round engine speeds over all that they cover."""
    first, last = found.speeds[0], found.speeds[-1]
    rpm = np.arange(np.ceil(first / _STEP) * _STEP, last, _STEP)
    return tuple(clearance(found, one, rpm, level) for one in loads)


def chance_above(found: Prediction, rpm: Floats, torque: Floats) -> Floats | None:
    """Return the chance that a reading at engine speeds is above a torque, lb-ft, at each.

    ``None`` without calibration.
    """
    if not found.calibrated:
        return None
    score = np.log(found.torque(rpm) / torque) / found.width(rpm)
    beyond = 1.0 - found.level_of("point", np.abs(score))
    chance: Floats = np.where(score > 0, 1.0 - beyond / 2, beyond / 2)
    return chance


def _chance_of_all(found: Prediction, rpm: Floats, torque: Floats) -> float | None:
    """Return the chance, at least, that one pull is above a torque at all engine speeds at once.

    A pull leaves the limits of the whole curve below as often as above. ``None`` without
    calibration, and where the predicted curve is not above the torque everywhere.
    """
    chances = chance_above(found, rpm, torque)
    if chances is None or not len(rpm) or found.kept("band", 0.5) is None:
        return None
    least = np.min(np.log(found.torque(rpm) / torque) / found.width(rpm))
    if least <= 0:
        return None
    outside = 1.0 - float(found.level_of("band", np.array([least]))[0])
    return min(1.0 - outside / 2, float(chances.min()))


def _less(one: Between, load: float) -> Between:
    ends = [None if end is None else end - load for end in (one.low, one.high)]
    return Between(one.value - load, *ends)
