"""Mean torque and power over a band, and an answer with all else that was asked about."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

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

#: Steps in which the tested part of a band is looked for.
_STEPS = 401


def over_band(found: Prediction, band: tuple[float, float], level: float) -> BandMean:
    """Return mean torque and power over a band, rev/min, with limits at a level.

    Both means share one expected error: the limits of power are those of torque, as a share.
    """
    torque = found.mean(band, level)
    rpm = np.linspace(*band, BAND_POINTS)
    power = float(np.mean(found.torque(rpm) * rpm)) / TORQUE_POWER_CONSTANT
    return BandMean(band, torque, torque.times(power / torque.value), tested_part([found], band))


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
    """Return the part of a band that builds like all of some were tested at; ``None`` if none."""
    fine = np.linspace(*band, _STEPS)
    tested = fine[np.all([one.supported(fine) for one in builds], axis=0)]
    return (float(tested[0]), float(tested[-1])) if len(tested) else None


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
