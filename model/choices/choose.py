"""Choosing parts: every combination of a parts list, checked against its limits and ranked."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from pullbook.model.choices import goals, money
from pullbook.model.choices.parts_choice import SWEEP, Choice, ChooseError, Combination
from pullbook.model.comparison import compare, compare_several
from pullbook.model.prediction.cautions import cautions
from pullbook.model.prediction.over_band import ENOUGH, share_tested, tested_part
from pullbook.model.prediction.predict import on_one_dyno
from pullbook.model.range.tested_speeds import DEFAULT_RPM, speeds_of
from pullbook.pipeline.builds import build_files
from pullbook.pipeline.builds.parts import PRICE, TORQUE
from pullbook.schemas.field_words import spoken
from pullbook.schemas.severity import Severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.start import Learned, Start
    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.builds.parts import Limit, Part, PartsList
    from pullbook.pipeline.values.sheet import Build

#: Most combinations that are predicted.
MOST = 20_000
_POINTS = 41
#: How far apart speeds are looked at, rev/min.
_STEP = 50.0


def choose(
    model: Model,
    wanted: PartsList,
    level: float,
    low: tuple[float, float],
    code: str | None = None,
    start: Start | Learned | None = None,
    seed: int = 1,
) -> Choice:
    """Return the combinations of a parts list, ranked by its goal.

    Parameters
    ----------
    model
        The model.
    wanted
        The parts list.
    level
        Confidence level of the limits, between 0 and 1.
    low
        Lowest and highest engine speed of the low range, rev/min.
    code
        Code of the shop that would test it, if it is known.
    start
        The measured pulls of the engine that the parts go into, if any.
    seed
        Seed of the draws behind the chances.

    Raises
    ------
    ChooseError
        There are too many combinations, or none goes together or keeps within the limits.

    """
    count = int(np.prod([len(parts) for parts in wanted.parts.values()], dtype=float))
    if count > MOST:
        msg = f"the list makes {count} combinations, and {MOST} is the most; leave some parts out"
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
        names = ", ".join(map(spoken, beyond))
        cause = why or f"no combination meets the requirements ({names}); relax one of them"
        msg = f"there is nothing to choose from: {cause}"
        raise ChooseError(msg)
    found = on_one_dyno(model, code, start)([sheet for _, sheet in kept])
    swept = [_swept(one, wanted, low) for one in found]
    if max(swept) < ENOUGH:
        msg = (
            "builds like these were not tested at the engine speeds of the goal, the low range and"
            " the torque requirements; choose other speeds"
        )
        raise ChooseError(msg)
    known = [at for at, share in enumerate(swept) if share >= ENOUGH]
    if len(known) < len(kept):
        beyond[SWEEP] = len(kept) - len(known)
    taken = [found[at] for at in known]
    for_power = _shared_speeds(taken)
    wanted = replace(wanted, goal=wanted.goal.over(tested_part(taken, wanted.goal.band)))
    low = tested_part(taken, low) or low
    kept_torque, short = _within(wanted, [kept[at] for at in known], taken, level, low, for_power)
    if short:
        beyond[TORQUE] = short
    if not kept_torque:
        msg = (
            "there is nothing to choose from: no combination meets the torque requirements; relax"
            " them"
        )
        raise ChooseError(msg)
    kept_torque.sort(key=lambda one: -one.goal.value)
    inside = [one for one in kept_torque if not one.outside]
    ranked = _with_chances(model, wanted, [one for one in inside if one.reached.clears], seed)
    may_not = [one for one in inside if not one.reached.clears]
    outside = [one for one in kept_torque if one.outside]
    return Choice(
        ranked, may_not, outside, beyond, (unfit, why), wanted.base, wanted.goal, level, low,
        wanted.parts, wanted.limits, for_power,
        money.steps(ranked, wanted.goal, model.pairs, level),
    )  # fmt: skip


def _shared_speeds(found: Sequence[Prediction]) -> tuple[float, float] | None:
    """Return the lowest and highest speed at which all were tested; ``None`` without any."""
    ends = found[0].speeds[0], found[0].speeds[-1]
    rpm = np.arange(np.ceil(ends[0] / _STEP) * _STEP, ends[1] + 1, _STEP)
    all_of_them = rpm[np.all([one.supported(rpm) for one in found], axis=0)]
    return (float(all_of_them[0]), float(all_of_them[-1])) if len(all_of_them) > 1 else None


def _swept(found: Prediction, wanted: PartsList, low: tuple[float, float]) -> float:
    """Return the swept share of the wanted bands, of the band where it is smallest."""
    bands = [wanted.goal.band, low, *(limit.over for limit in wanted.limits if limit.over)]
    return min(share_tested(found, band) for band in bands)


def _name(parts: Sequence[Part]) -> str:
    return " + ".join(part.name for part in parts)


def _sheet(base: Build, parts: Sequence[Part]) -> Build:
    values = {field: value for part in parts for field, value in part.values.items()}
    name = _name(parts)
    return build_files.changed(base, name, values)


def _breaks(limit: Limit, parts: Sequence[Part], sheet: Build) -> bool:
    if limit.of == TORQUE:
        return False  # checked after the prediction
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
    parts: Sequence[tuple[tuple[Part, ...], Build]],
    found: Sequence[Prediction],
    level: float,
    low: tuple[float, float],
    for_power: tuple[float, float] | None,
) -> tuple[list[Combination], int]:
    """Return the combinations whose torque is within its limits, and how many others there are."""
    lines = [limit for limit in wanted.limits if limit.of == TORQUE and limit.over is not None]
    speeds = _every(for_power) if for_power else None
    kept, short = [], 0
    for (own, sheet), one in zip(parts, found, strict=True):
        if not all(_keeps(one, limit) for limit in lines):
            short += 1
            continue
        kept.append(
            Combination(
                parts=own,
                price=_price(own),
                reached=goals.reached(wanted.goal, one, level),
                low=one.mean(low, level),
                power=None if speeds is None else one.peaks(speeds, level).power,
                chance=None,
                swept=_swept(one, wanted, low) == 1.0,
                found=one,
                cautions=cautions(sheet, one, wanted.goal.ceilings, speeds_of(*DEFAULT_RPM)),
            )
        )
    return kept, short


def _keeps(found: Prediction, limit: Limit) -> bool:
    torque = found.torque(np.linspace(*(limit.over or (0.0, 0.0)), _POINTS))
    return _holds(limit, float(torque.min()), float(torque.max()))


def _with_chances(
    model: Model, wanted: PartsList, ranked: list[Combination], seed: int
) -> list[Combination]:
    found = [one.found for one in ranked]
    scores = compare.scores_for(found[:2], model.pairs, one_shop=True) if len(found) > 1 else None
    if scores is None:
        return ranked
    band = wanted.goal.band
    value, expected = compare_several.means(found, band)
    law = scores.mean if band[1] > band[0] else scores.point
    chance = compare_several.chances_of_best(value, expected, found, band, scores, law, seed)
    if chance is None:
        return ranked
    return [replace(one, chance=share) for one, share in zip(ranked, chance.tolist(), strict=True)]


def _every(band: tuple[float, float]) -> Floats:
    """Return engine speeds over a band, its ends among them."""
    low, high = band
    speeds: Floats = np.append(np.arange(low, high, _STEP), high)
    return speeds
