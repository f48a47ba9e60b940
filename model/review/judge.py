"""Comparing a new bundle with the old one, on shops that neither was trained on.

Both predict the same sheets, and their errors are compared sheet by sheet. Whole shops are
resampled, so a difference counts only if it is consistent between shops. Where the sheets are of
few shops, engines take the place of shops.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.evaluation import accuracy, bootstrap, kinds_of_sheet
from pullbook.model.evaluation.evaluate import coverage
from pullbook.model.evaluation.prediction_errors import LEVELS, score_predictions
from pullbook.model.prediction.predict import predict
from pullbook.model.review.judgement import Apart, Judgement, Rules, Side, Stratum, Verdict
from pullbook.pipeline.builds.engine_groups import ENGINE, engine_keys, held_out_groups
from pullbook.schemas.errors import InputError
from pullbook.schemas.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.builds.engine_groups import Groups

#: Figures that decide the verdict, both in % of torque, and their names in its reasons. The second
#: counts error and width of the limits together.
DECIDING = {"rms": "error of the curve", "interval_score": "interval score of the limits"}
#: Fewest shops with a kind of sheet for it to be judged by itself.
_ENOUGH_SHOPS = 5


class JudgeError(InputError):
    """Two bundles that cannot be judged; the message says why."""


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
        Each from `bundle.load`.
    builds, pulls
        Curated tables. Sheets of shops, or of engines, that either bundle was trained on, and
        sheets with copies, are left out.
    rules
        Rules of the verdict.
    level
        Level of the limits; one of `prediction_errors.LEVELS`.
    doubts
        Doubts about the new data; while there are any, no bundle is called better.

    Raises
    ------
    JudgeError
        No sheet remains, the level is not one of those, or the two bundles are the same.

    """
    if old[1]["id"] == new[1]["id"]:
        msg = (
            f"both names are of one and the same bundle, {old[1]['id']}; name first the bundle in"
            " use, then the new one"
        )
        raise JudgeError(msg)
    if level not in LEVELS:
        msg = f"the level is {level:g}; bundles are judged at {', '.join(map(str, LEVELS))}"
        raise JudgeError(msg)
    jury = builds[unseen(builds, old[0], new[0])].reset_index(drop=True)
    if jury.empty:
        what = held_out_groups(builds).what
        msg = (
            f"no {what} is new to both bundles; set some {what}s aside before training with:"
            " pullbook jury"
        )
        raise JudgeError(msg)
    groups = {str(name): own for name, own in pulls.groupby("sheet_id", sort=False)}
    seated = held_out_groups(jury)
    before, after = (_held(one[0], jury, groups, seated) for one in (old, new))
    count = seated.names.nunique()
    inside = _inside(before, after, level)
    figures = _figures(before, after)
    sides = [
        _side(manifest, held, level) for (_, manifest), held in ((old, before), (new, after))
    ]  # fmt: skip
    verdict, reasons = _verdict(
        figures, inside, sides, level, (count, seated.what), rules, list(doubts)
    )
    return Judgement(
        old=sides[0],
        new=sides[1],
        sheets=len(jury),
        shops=count,
        held_out=seated.what,
        level=level,
        figures=figures,
        inside=inside,
        verdict=verdict,
        reasons=reasons,
        seconds=(before.seconds, after.seconds),
    )


def unseen(builds: pd.DataFrame, *models: Model) -> np.ndarray:
    """Return which sheets are new to all models, and have no copies.

    They are of shops that no model was trained on, or of engines where the model is of few shops'
    own data. A model may have been trained on a copy under another shop's name.
    """
    engines = engine_keys(builds)
    new = builds["copies"] == 1
    for model in models:
        if model.own_dyno:
            new &= ~engines.isin(set(engine_keys(model.fields)))
        else:
            new &= ~builds["shop"].isin(model.shop_codes)
    return new.to_numpy(dtype=bool)


class _Held(NamedTuple):
    readings: pd.DataFrame
    sheets: pd.DataFrame
    errors: pd.DataFrame
    seconds: float


def _held(
    model: Model, jury: pd.DataFrame, groups: Mapping[str, pd.DataFrame], seated: Groups
) -> _Held:
    """Return the errors of a model on a jury, whose seats stand in for shops."""
    start = time.perf_counter()
    own = jury["shop"].tolist() if seated.what == ENGINE else [None] * len(jury)
    found = predict(model, jury.assign(engine=None), own)
    seconds = time.perf_counter() - start
    readings, sheets = score_predictions(jury.assign(shop=seated.names), groups, found)
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

        def difference(rows: Floats, statistic: Any = statistic) -> float:
            return float(statistic(rows[:, 1]) - statistic(rows[:, 0]))

        found[name] = Apart(
            round(statistic(both[:, 0]), 6),
            round(statistic(both[:, 1]), 6),
            *bootstrap.limits(both, shops[known].tolist(), difference),
        )
    return found


def _inside(before: _Held, after: _Held, level: float) -> Apart | None:
    """Return the share of readings inside; shops have equal weight, and so have a shop's sheets.

    Of the sheets for which the limits of both can keep the level.
    """
    sheets = pd.concat(
        [
            one.readings.groupby(["shop", "sheet_id"])[f"inside_{level}"].mean()
            for one in (before, after)
        ],
        axis=1,
    ).dropna()
    if sheets.empty:
        return None
    both = sheets.groupby("shop").mean().to_numpy(float)
    old, new = both.mean(axis=0).tolist()
    return Apart(
        round(old, 6), round(new, 6), *bootstrap.limits(both, range(len(both)), _mean_difference)
    )  # fmt: skip


def _mean_difference(rows: Floats) -> float:
    old, new = rows.mean(axis=0).tolist()
    return float(new - old)


def _side(manifest: Mapping[str, Any], held: _Held, level: float) -> Side:
    widths = {
        str(one): round(100 * float(held.readings[f"width_{one}"].median()), 3)
        for one in LEVELS
        if held.readings[f"width_{one}"].notna().any()
    }
    standing = held.sheets["standing"]
    return Side(
        id=str(manifest["id"]),
        sheets=int(manifest["sheets"]),
        shops=int(manifest["shops"]),
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
    seats: tuple[int, str],
    rules: Rules,
    doubts: list[str],
) -> tuple[Verdict, list[str]]:
    worse = _worse(figures, inside, sides, level, rules)
    wanted = max(rules.fewest_shops, 2)
    count, what = seats
    if count < wanted:
        few = f"too few {what}s to judge by ({count}; it takes {wanted:g})"
        return Verdict.CANNOT_TELL, [few, *doubts]
    if worse:
        return Verdict.WORSE, worse + doubts
    if doubts:
        return Verdict.CANNOT_TELL, doubts
    deciding = [(name, figures[name]) for name in DECIDING if name in figures]
    better = [_worded(name, one) for name, one in deciding if one.high < 0]
    if better:
        return Verdict.BETTER, better
    margins = {"rms": rules.error_margin, "interval_score": rules.score_margin}
    unsure = [
        f"{_worded(name, one)}; it may be worse by more than {margins[name]:g} %"
        for name, one in deciding
        if one.high > margins[name]
    ]
    if unsure:
        return Verdict.CANNOT_TELL, unsure
    return Verdict.NO_WORSE, [_worded(name, one) for name, one in deciding]


def _worse(
    figures: Mapping[str, Apart],
    inside: Apart | None,
    sides: Sequence[Side],
    level: float,
    rules: Rules,
) -> list[str]:
    """Return what is worse by more than chance."""
    found = [_worded(name, figures[name]) for name in DECIDING
             if name in figures and figures[name].low > 0]  # fmt: skip
    if inside is not None and inside.new < level and inside.high < -rules.inside_margin:
        found.append(
            f"the {100 * level:g} % limits hold {100 * inside.new:.1f} % of the readings, before"
            f" {100 * inside.old:.1f} % (change {100 * inside.low:+.1f} to"
            f" {100 * inside.high:+.1f})"
        )
    old, new = (side.standing[Standing.OUTSIDE.value] for side in sides)
    if new - old > rules.outside_margin:
        found.append(
            f"{100 * new:.1f} % of the builds are outside the data, before {100 * old:.1f} %"
        )
    old_calibrated, new_calibrated = (bool(side.coverage["reading"]) for side in sides)
    if old_calibrated and not new_calibrated:
        found.append("it has too little data for limits, and the old one has enough")
    return found


def _worded(name: str, one: Apart) -> str:
    n = one.digits(2)
    return (
        f"{DECIDING[name]} {one.new:.{n}f} %, before {one.old:.{n}f} % (change"
        f" {one.difference:+.{n}f}, {one.low:+.{n}f} to {one.high:+.{n}f})"
    )
