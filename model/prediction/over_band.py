"""Mean torque and power over a band, and an answer with all else that was asked about."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.model.prediction.clearance import clearance
from pullbook.model.prediction.prediction import BAND_POINTS
from pullbook.pipeline.loads import read_load
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.physics.correction_factors import to_reference
from pullbook.pipeline.vocabulary.words import standard_of
from pullbook.schemas.on_request import BandMean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.answer import Answer
    from pullbook.schemas.on_request import Load

#: The share of a band at which builds must have been tested to be ranked by it.
ENOUGH = 0.5
#: How far apart the ends of the tested part of a band are looked for, rev/min.
_STEP = 50.0


class Band(NamedTuple):
    """A band of engine speeds, rev/min, as asked for, and the part of it that means are over."""

    asked: tuple[float, float]
    over: tuple[float, float]


def over_band(found: Prediction, band: tuple[float, float], level: float) -> BandMean:
    """Return mean torque and power over the tested part of a band, rev/min, with limits at a level.

    Both means share one expected error: the limits of power are those of torque, as a share.
    """
    tested = tested_part([found], band)
    within = tested or band
    torque = found.mean(within, level)
    rpm = np.linspace(*within, BAND_POINTS)
    power = float(np.mean(found.torque(rpm) * rpm)) / TORQUE_POWER_CONSTANT
    return BandMean(band, torque, torque.times(power / torque.value), tested)


def answers_at(
    found: Sequence[Prediction],
    rpm: Floats,
    level: float,
    band: tuple[float, float] | None,
    loads: Sequence[str | Load],
    correction: str,
) -> list[Answer]:
    """Return answers at a standard of correction, by the nominal ratio, as the loads are.

    Raises
    ------
    InputError
        The standard or a load cannot be used.

    """
    standard = standard_of(correction)
    ratio = to_reference(standard, None)
    must = [(read_load.read(one) if isinstance(one, str) else one).times(ratio) for one in loads]
    return [
        replace(answer_of(one, rpm, level, band, must).times(1 / ratio), correction=standard)
        for one in found
    ]


def tested_part(
    builds: Sequence[Prediction], band: tuple[float, float]
) -> tuple[float, float] | None:
    """Return the part of a band that builds like all of some were tested at; ``None`` if none.

    It ends where the band does or at a whole 50 rpm. Means over a band are over this part of it.
    """
    low, high = band
    inside = np.arange(np.floor(low / _STEP) + 1, np.ceil(high / _STEP)) * _STEP
    if not builds:
        return None
    fine = np.unique(np.concatenate([[low], inside, [high]]))
    tested = fine[np.all([one.supported(fine) for one in builds], axis=0)]
    some = len(tested) > 1 or (low == high and len(tested) > 0)
    return (float(tested[0]), float(tested[-1])) if some else None


def cut_to_tested(builds: Sequence[Prediction], asked: tuple[float, float]) -> Band:
    """Return a band with the part of it that builds like all of some were tested at.

    Where they were tested at none of it, that part is all of it.
    """
    return Band(asked, tested_part(builds, asked) or asked)


def share_tested(found: Prediction, band: tuple[float, float]) -> float:
    """Return the share of the speeds of a band that builds like one were tested at."""
    return float(found.supported(np.linspace(*band, BAND_POINTS)).mean())


def answer_of(
    found: Prediction,
    rpm: Floats,
    level: float,
    band: tuple[float, float] | None = None,
    loads: Sequence[Load] = (),
) -> Answer:
    """Return the answer at engine speeds with a level, over a band and above loads if asked for."""
    return replace(
        found.answer(rpm, level),
        over_band=None if band is None else over_band(found, band, level),
        loads=tuple(clearance(found, one, rpm, level) for one in loads),
    )
