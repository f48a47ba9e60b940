"""Choosing parts: every combination of a list, held against a goal and limits, and ranked."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.answers import compare_several
from pullbook.model.answers.parts_choice import Choice, ChooseError, Combination
from pullbook.model.answers.predict import predict
from pullbook.model.answers.prediction import between
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.builds.parts import PRICE, TORQUE
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.answer import Between
from pullbook.schemas.codes import Severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.answers.prediction import Prediction
    from pullbook.model.learning.sample import Floats
    from pullbook.model.training.train_model import Model
    from pullbook.pipeline.builds.parts import Limit, Part, PartsList
    from pullbook.pipeline.values.sheet import Build

#: Combinations that are looked at.
MOST = 20_000
#: What rules out a combination whose like was not swept over the speeds that are asked about.
SWEEP = "what was swept"
#: The share of each band that must have been swept; less than the whole of it is said.
_ENOUGH = 0.5
_POINTS = 41


def choose(
    model: Model, wanted: PartsList, level: float, low: tuple[float, float], seed: int = 1
) -> Choice:
    """Return the combinations of a list of parts, ranked by its goal.

    Parameters
    ----------
    model
        The model.
    wanted
        The list.
    level
        Of the limits.
    low
        The engine speeds of the low range, rev/min.
    seed
        Of the draws behind the chances.

    Raises
    ------
    ChooseError
        There are too many combinations, or none is fit or within the limits.

    """
    count = int(np.prod([len(parts) for parts in wanted.parts.values()], dtype=float))
    if count > MOST:
        msg = f"{count} combinations are too many; {MOST} can be looked at: leave some parts out"
        raise ChooseError(msg)
    beyond: dict[str, int] = {}
    kept: list[tuple[tuple[Part, ...], Build]] = []
    unfit, why = 0, ""
    for parts in product(*wanted.parts.values()):
        sheet = _sheet(wanted.base, parts)
        broken = next((one for one in wanted.limits if _breaks(one, parts, sheet)), None)
        if broken is not None:
            beyond[broken.of] = beyond.get(broken.of, 0) + 1
            continue
        fault = next((f for f in sheet.findings if f.severity is Severity.REFUSE), None)
        if fault is not None:
            unfit, why = unfit + 1, why or f"{_name(parts)}: {fault.message}"
            continue
        kept.append((parts, sheet))
    if not kept:
        told = why or f"every combination is beyond a limit ({', '.join(beyond)})"
        msg = f"there is nothing to choose from: {told}"
        raise ChooseError(msg)
    found = predict(model, typed_builds([sheet for _, sheet in kept]), [None] * len(kept))
    swept = [_swept(one, wanted, low) for one in found]
    if max(swept) < _ENOUGH:
        msg = (
            "nothing was swept over the engine speeds of the goal, the low range and the torque"
            " limits with builds like these; name others"
        )
        raise ChooseError(msg)
    known = [at for at, share in enumerate(swept) if share >= _ENOUGH]
    if len(known) < len(kept):
        beyond[SWEEP] = len(kept) - len(known)
    made, short = _within(
        wanted, [kept[at][0] for at in known], [found[at] for at in known], level, low
    )
    if short:
        beyond[TORQUE] = short
    if not made:
        msg = "there is nothing to choose from: no combination keeps the torque that is wanted"
        raise ChooseError(msg)
    made.sort(key=lambda one: -one.goal.value)
    ranked = _with_chances(model, wanted, [one for one in made if not one.outside], seed)
    outside = [one for one in made if one.outside]
    return Choice(ranked, outside, beyond, (unfit, why), wanted.base, wanted.goal, level, low)


def _swept(found: Prediction, wanted: PartsList, low: tuple[float, float]) -> float:
    """Return over what share of what is asked of it such a build was swept: of the worst band."""
    bands = [wanted.goal[1], low, *(limit.over for limit in wanted.limits if limit.over)]
    return min(float(found.supported(np.linspace(*band, _POINTS)).mean()) for band in bands)


def _name(parts: Sequence[Part]) -> str:
    return " + ".join(part.name for part in parts)


def _sheet(base: Build, parts: Sequence[Part]) -> Build:
    values = {field: value for part in parts for field, value in part.values.items()}
    name = _name(parts)
    return build_files.changed(base, name, values)


def _breaks(limit: Limit, parts: Sequence[Part], sheet: Build) -> bool:
    if limit.of == TORQUE:
        return False  # known once it is predicted
    value = _price(parts) if limit.of == PRICE else sheet.number(limit.of)
    return value is None or not _holds(limit, value, value)


def _holds(limit: Limit, lowest: float, highest: float) -> bool:
    return (limit.at_least is None or lowest >= limit.at_least) and (
        limit.at_most is None or highest <= limit.at_most
    )


def _price(parts: Sequence[Part]) -> float | None:
    prices = [part.price for part in parts if part.price is not None]
    return sum(prices) if len(prices) == len(parts) else None


def _within(
    wanted: PartsList,
    parts: Sequence[tuple[Part, ...]],
    found: Sequence[Prediction],
    level: float,
    low: tuple[float, float],
) -> tuple[list[Combination], int]:
    """Return the combinations that keep their torque, and how many do not."""
    lines = [limit for limit in wanted.limits if limit.of == TORQUE and limit.over is not None]
    made, short = [], 0
    for own, one in zip(parts, found, strict=True):
        if not all(_keeps(one, limit) for limit in lines):
            short += 1
            continue
        made.append(
            Combination(
                parts=own,
                price=_price(own),
                goal=_goal(one, wanted.goal, level),
                low=one.mean(low, level),
                power=one.peaks(one.speeds, level).power,
                chance=None,
                swept=_swept(one, wanted, low) == 1.0,
                found=one,
            )
        )
    return made, short


def _keeps(found: Prediction, limit: Limit) -> bool:
    torque = found.torque(np.linspace(*(limit.over or (0.0, 0.0)), _POINTS))
    return _holds(limit, float(torque.min()), float(torque.max()))


def _goal(found: Prediction, goal: tuple[str, tuple[float, float]], level: float) -> Between:
    name, band = goal
    if name == "mean_torque":
        return found.mean(band, level)
    rpm = np.array(band[:1])
    factor = band[0] / TORQUE_POWER_CONSTANT if name == "power" else 1.0
    torque, width = float(found.torque(rpm)[0]), float(found.width(rpm)[0])
    return between(torque * factor, width, found.threshold("point", level))


def _with_chances(
    model: Model, wanted: PartsList, ranked: list[Combination], seed: int
) -> list[Combination]:
    if model.pairs is None or not ranked:
        return ranked
    band = wanted.goal[1]
    scores = model.pairs.one_shop
    value, expected = compare_several.means([one.found for one in ranked], band)
    law = scores.mean if band[1] > band[0] else scores.point
    places: Floats = np.array([one.found.place for one in ranked])
    chance = compare_several.chances_of_best(value, expected, places, scores, law, seed)
    if chance is None:
        return ranked
    return [replace(one, chance=share) for one, share in zip(ranked, chance.tolist(), strict=True)]
