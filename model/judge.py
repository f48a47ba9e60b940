"""Champion and challenger: two bundles on the same shops, from which neither has learned.

Both are asked about the same sheets, and what they get wrong is taken from one another sheet by
sheet. Whole shops are resampled, so a difference counts only if it holds from shop to shop.
"""

from __future__ import annotations

import time
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from model import accuracy, bootstrap, strata
from model.against import LEVELS, held_against
from model.evaluate import coverage
from model.prediction import predict
from model.settings import numbers_of
from model.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from model.sample import Floats
    from model.training import Model

#: Figures a verdict goes by: error of the curve, and error and width of the limits together.
DECIDING = ("rms", "interval_score")
#: A kind of sheet that fewer shops have tells nothing of its own.
_ENOUGH_SHOPS = 5


class JudgeError(ValueError):
    """Nothing that two bundles could be judged by; the message says why."""


class Verdict(StrEnum):
    """What became of a challenger."""

    BETTER = "better"
    NO_WORSE = "no worse"
    WORSE = "worse"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Rules:
    """What a verdict goes by.

    Attributes
    ----------
    fewest_shops
        With fewer shops nothing can be told; two are needed whatever it says.
    error_margin
        What the error of the curve may rise by, % of torque, at the upper limit of what is
        likely, and still be no worse.
    score_margin
        The same of the interval score.
    inside_margin
        What the share of readings inside the limits may fall by while it is less than promised.
    outside_margin
        What the share of builds that stand outside may rise by.
    """

    fewest_shops: float = 8
    error_margin: float = 0.15
    score_margin: float = 0.75
    inside_margin: float = 0.03
    outside_margin: float = 0.10


def rules_from(given: Mapping[str, Any]) -> Rules:
    """Return rules with some values of their own.

    Raises
    ------
    ValueError
        A name is not a rule, or a value is not a number from nought.

    """
    return numbers_of(Rules, given, called="rule of judging", above_nought=False)


class Apart(NamedTuple):
    """A figure of both, and the new one less the old one with its 90 % limits over shops."""

    old: float
    new: float
    difference: float
    low: float
    high: float


class Stratum(NamedTuple):
    """A kind of sheet, and the share of its readings inside the limits, with 90 % limits."""

    name: str
    inside: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two bundles.

    Attributes
    ----------
    id, sheets, shops
        Of the bundle, and what it learned from.
    coverage
        As `evaluate.coverage` gives it.
    width
        Median width of the limits by level, % of torque.
    worst
        The third of the sweep or the standing where the fewest readings lie inside.
    standing
        The share of builds by standing.
    """

    id: str
    sheets: int
    shops: int
    coverage: dict[str, dict[str, float]]
    width: dict[str, float]
    worst: Stratum | None
    standing: dict[str, float]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Two bundles, side by side.

    Attributes
    ----------
    old, new
        The two.
    sheets, shops
        What they were judged by.
    level
        Of the limits.
    figures
        By name of `accuracy.FIGURES`.
    inside
        The share of readings inside the limits.
    verdict, reasons
        What came of it, and why.
    seconds
        What each took to answer; not part of what is written, for it is another each time.
    """

    old: Side
    new: Side
    sheets: int
    shops: int
    level: float
    figures: dict[str, Apart]
    inside: Apart | None
    verdict: Verdict
    reasons: list[str]
    seconds: tuple[float, float] = field(compare=False)

    def as_json(self) -> dict[str, Any]:
        """Return the judgement as plain data."""
        found = asdict(self)
        del found["seconds"]
        found["figures"] = {name: one._asdict() for name, one in self.figures.items()}
        found["inside"] = None if self.inside is None else self.inside._asdict()
        for name, side in (("old", self.old), ("new", self.new)):
            found[name]["worst"] = None if side.worst is None else side.worst._asdict()
        return found


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
    table = strata.by_kind(held.readings, held.sheets, level)
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
