"""Asking: from builds to answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.answers import missing_fields
from pullbook.model.answers.prediction import predict
from pullbook.pipeline.parallel.garbage_collection import uncollected
from pullbook.schemas.answer import Answer

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pullbook.model.answers.prediction import Prediction
    from pullbook.model.learning.sample import Floats
    from pullbook.model.training.train_model import Model
    from pullbook.schemas.answer import Missing

DEFAULT_LEVEL = 0.9
DEFAULT_RPM = (2000.0, 6500.0, 250.0)
#: Sheets named as nearest.
_NAMED = 5
#: With more builds at once nobody is told what a missing field is worth.
MOST_LOOKED_INTO = 20


@dataclass(frozen=True, slots=True)
class Question:
    """How builds are asked about.

    Attributes
    ----------
    rpm
        Engine speeds, rev/min, rising.
    level
        Of the limits, between 0 and 1.
    """

    rpm: Floats
    level: float = DEFAULT_LEVEL


def speeds_of(low: float, high: float, step: float) -> Floats:
    """Return engine speeds from low to high, both included where the step meets them.

    >>> speeds_of(2000, 3000, 500).tolist()
    [2000.0, 2500.0, 3000.0]
    """
    return np.arange(low, high + step * 1e-9, step)


def answers(
    model: Model,
    told: dict[str, Any],
    builds: pd.DataFrame,
    shops: Sequence[str | None],
    question: Question,
) -> list[Answer]:
    """Return the answers to a question about builds, in their order.

    Parameters
    ----------
    model, told
        As `bundle.load` gives them.
    builds
        Typed builds, as `build_table.typed_builds` gives them.
    shops
        The code of the shop that each build is said to come from, or ``None``.
    question
        What is asked.

    """
    look = len(builds) <= MOST_LOOKED_INTO
    unknown = missing_fields.not_given(builds)
    with uncollected():
        found = predict(model, builds, shops)
        if look:
            unknown = [
                missing_fields.fields(
                    model, builds.iloc[[i]], one.nearest, one.half_width(question.level)
                )
                for i, one in enumerate(found)
            ]
        names = builds["sheet_id"].astype(str)
        return [
            _answer(model, told, question, *of_build)
            for of_build in zip(names, found, unknown, strict=True)
        ]


def _answer(
    model: Model,
    told: dict[str, Any],
    question: Question,
    name: str,
    found: Prediction,
    unknown: list[Missing],
) -> Answer:
    level, rpm = question.level, question.rpm
    peaks = found.peaks(rpm, level)
    near = zip(found.nearest[:_NAMED], found.distances[:_NAMED], strict=True)
    return Answer(
        sheet_id=name,
        standing=found.standing,
        reasons=found.reasons,
        level=level,
        calibrated=found.calibrated(level),
        known_shop=found.known_shop,
        widened=found.widened,
        curve=found.points(rpm, level),
        peak_torque=peaks.torque,
        peak_power=peaks.power,
        nearest=[(model.sheet_ids[position], float(far)) for position, far in near],
        missing=unknown,
        bundle=told,
    )
