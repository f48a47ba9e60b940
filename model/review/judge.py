"""Champion and challenger: two bundles on the same shops, from which neither has learned.

Both are asked about the same sheets, and what they get wrong is taken from one another sheet by
sheet. Whole shops are resampled, so a difference counts only if it holds from shop to shop.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.answers.predict import predict
from pullbook.model.evaluation import accuracy, bootstrap, kinds_of_sheet
from pullbook.model.evaluation.evaluate import coverage
from pullbook.model.evaluation.prediction_errors import LEVELS, held_against
from pullbook.model.review.judgement import Apart, Judgement, Rules, Side, Stratum, Verdict
from pullbook.schemas.answer import Standing
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.training.train_model import Model

#: Figures a verdict goes by: error of the curve, and error and width of the limits together.
DECIDING = ("rms", "interval_score")
#: A kind of sheet that fewer shops have tells nothing of its own.
_ENOUGH_SHOPS = 5


class JudgeError(InputError):
    """Nothing that two bundles could be judged by; the message says why."""


def judge(
    old: tuple[Model, Mapping[str, Any]],
    new: tuple[Model, Mapping[str, Any]],
    builds: pd.DataFrame,
    pulls: pd.DataFrame,
    rules: Rules,
    level: float,
    doubts: Sequence[str] = (),
) -> Judgement:
    """Judge a new bundle against the old one.

    Parameters
    ----------
    old, new
        Each as `bundle.load` gives it.
    builds, pulls
        Curated tables. Sheets of shops that either bundle has learned from, and sheets of which
        there are copies, are left out.
    rules
        What the verdict goes by.
    level
        Of the limits; one of `against.LEVELS`.
    doubts
        What speaks against the new data; while there is any, nothing is called better.

    Raises
    ------
    JudgeError
        No sheet is left, the level is none of those, or the two are one.

    """
    if old[1]["id"] == new[1]["id"]:
        msg = f"both are bundle {old[1]['id']}: name the one in use and the one to take its place"
        raise JudgeError(msg)
    if level not in LEVELS:
        msg = f"bundles are judged at one of {', '.join(map(str, LEVELS))}, not at {level:g}"
        raise JudgeError(msg)
    jury = builds[unseen(builds, old[0], new[0])].reset_index(drop=True)
    if jury.empty:
        msg = (
            "there is no shop that neither bundle has learned from: set some aside before training,"
            " with pullbook jury"
        )
        raise JudgeError(msg)
    groups = {str(name): own for name, own in pulls.groupby("sheet_id", sort=False)}
    before, after = (_held(one[0], jury, groups) for one in (old, new))
    shops = jury["shop"].tolist()
    inside = _inside(before, after, level)
    figures = _figures(before, after)
    sides = [
        _side(told, held, level) for (_, told), held in ((old, before), (new, after))
    ]  # fmt: skip
    verdict, reasons = _verdict(figures, inside, sides, level, len(set(shops)), rules, list(doubts))
    return Judgement(
        old=sides[0],
        new=sides[1],
        sheets=len(jury),
        shops=len(set(shops)),
        level=level,
        figures=figures,
        inside=inside,
        verdict=verdict,
        reasons=reasons,
        seconds=(before.seconds, after.seconds),
    )


def unseen(builds: pd.DataFrame, *models: Model) -> np.ndarray:
    """Tell which sheets are of shops that no model has learned from, and of which none is a copy.

    A copy may have been learned from under another shop's name.
    """
    known = {code for model in models for code in model.shop_codes}
    return (~builds["shop"].isin(known) & (builds["copies"] == 1)).to_numpy(dtype=bool)


class _Held(NamedTuple):
    readings: pd.DataFrame
    sheets: pd.DataFrame
    errors: pd.DataFrame
    seconds: float


def _held(model: Model, jury: pd.DataFrame, groups: Mapping[str, pd.DataFrame]) -> _Held:
    start = time.perf_counter()
    found = predict(model, jury, [None] * len(jury))
    seconds = time.perf_counter() - start
    readings, sheets = held_against(jury, groups, found)
    return _Held(readings, sheets, accuracy.by_sheet(readings), seconds)


def _figures(before: _Held, after: _Held) -> dict[str, Apart]:
    found = {}
    shops = before.errors["shop"]
    for name, (column, statistic, _) in accuracy.FIGURES.items():
        both = np.column_stack([one.errors[column].to_numpy(float) for one in (before, after)])
        known = np.isfinite(both).all(axis=1)
        if not known.any():
            continue
        both = both[known]

        def apart(rows: Floats, statistic: Any = statistic) -> float:
            return float(statistic(rows[:, 1]) - statistic(rows[:, 0]))

        found[name] = Apart(
            round(statistic(both[:, 0]), 6),
            round(statistic(both[:, 1]), 6),
            *bootstrap.limits(both, shops[known].tolist(), apart),
        )
    return found


def _inside(before: _Held, after: _Held, level: float) -> Apart | None:
    """Return the share of readings inside; shops weigh the same, and the sheets of a shop."""
    shares = []
    for one in (before, after):
        inside = one.readings[f"inside_{level}"]
        if inside.isna().any():
            return None
        by_sheet = inside.groupby([one.readings["shop"], one.readings["sheet_id"]]).mean()
        shares.append(by_sheet.groupby("shop").mean().to_numpy(float))
    both = np.column_stack(shares)
    old, new = both.mean(axis=0).tolist()
    return Apart(
        round(old, 6), round(new, 6), *bootstrap.limits(both, range(len(both)), _fallen)
    )  # fmt: skip


def _fallen(rows: Floats) -> float:
    old, new = rows.mean(axis=0).tolist()
    return float(new - old)


def _side(told: Mapping[str, Any], held: _Held, level: float) -> Side:
    widths = {
        str(one): round(100 * float(held.readings[f"width_{one}"].median()), 3)
        for one in LEVELS
        if held.readings[f"width_{one}"].notna().all()
    }
    standing = held.sheets["standing"]
    return Side(
        id=str(told["id"]),
        sheets=int(told["sheets"]),
        shops=int(told["shops"]),
        coverage=coverage(held.readings, held.sheets),
        width=widths,
        worst=_worst(held, level),
        standing={one.value: round(float((standing == one.value).mean()), 4) for one in Standing},
    )


def _worst(held: _Held, level: float) -> Stratum | None:
    table = kinds_of_sheet.by_kind(held.readings, held.sheets, level)
    enough = table[(table["shops"] >= _ENOUGH_SHOPS) & table["inside"].notna()]
    if enough.empty:
        return None
    worst = enough.sort_values("inside", kind="stable").iloc[0]
    name = f"{worst['by']}: {worst['stratum']}" if worst["by"] != "all" else "all"
    return Stratum(name, *(round(float(worst[part]), 6) for part in ("inside", "low", "high")))


def _verdict(
    figures: Mapping[str, Apart],
    inside: Apart | None,
    sides: Sequence[Side],
    level: float,
    shops: int,
    rules: Rules,
    doubts: list[str],
) -> tuple[Verdict, list[str]]:
    worse = _worse(figures, inside, sides, level, rules)
    wanted = max(rules.fewest_shops, 2)
    if shops < wanted:
        few = f"too few shops to judge by: {shops}, and {wanted:g} are wanted"
        return Verdict.CANNOT_TELL, [few, *doubts]
    if worse:
        return Verdict.WORSE, worse + doubts
    if doubts:
        return Verdict.CANNOT_TELL, doubts
    told = [(name, figures[name]) for name in DECIDING if name in figures]
    better = [_said(name, one) for name, one in told if one.high < 0]
    if better:
        return Verdict.BETTER, better
    margins = {"rms": rules.error_margin, "interval_score": rules.score_margin}
    unsure = [
        f"{_said(name, one)}: it may be more than {margins[name]:g} worse"
        for name, one in told
        if one.high > margins[name]
    ]
    if unsure:
        return Verdict.CANNOT_TELL, unsure
    return Verdict.NO_WORSE, [_said(name, one) for name, one in told]


def _worse(
    figures: Mapping[str, Apart],
    inside: Apart | None,
    sides: Sequence[Side],
    level: float,
    rules: Rules,
) -> list[str]:
    """Return what is worse by more than chance."""
    found = [_said(name, figures[name]) for name in DECIDING
             if name in figures and figures[name].low > 0]  # fmt: skip
    if inside is not None and inside.new < level and inside.high < -rules.inside_margin:
        found.append(
            f"the {100 * level:g} % limits hold {inside.new:.3f} of readings, before"
            f" {inside.old:.3f} ({inside.low:+.3f} to {inside.high:+.3f})"
        )
    old, new = (side.standing[Standing.OUTSIDE.value] for side in sides)
    if new - old > rules.outside_margin:
        found.append(f"{100 * new:.1f} % of builds stand outside, before {100 * old:.1f} %")
    old_calibrated, new_calibrated = (bool(side.coverage["reading"]) for side in sides)
    if old_calibrated and not new_calibrated:
        found.append("it has too few shops for limits, the old one has enough")
    return found


def _said(name: str, one: Apart) -> str:
    title = accuracy.FIGURES[name][2]
    return (
        f"{title}: {one.new:.2f}, before {one.old:.2f} ({one.difference:+.2f},"
        f" {one.low:+.2f} to {one.high:+.2f})"
    )
