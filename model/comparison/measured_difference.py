"""What makes the difference between two engines: group by group, and what is left unexplained."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.comparison import part_shares
from pullbook.model.learning import effect_points
from pullbook.model.learning.effect_points import Ahead
from pullbook.model.learning.effects import EFFECTS
from pullbook.model.limits.calibration import NEW_FAMILY
from pullbook.model.limits.pair_kinds import CHANGED
from pullbook.model.prediction.prediction import BAND_POINTS
from pullbook.model.trained.build_curves import curves_of
from pullbook.model.trained.engines import Engines
from pullbook.model.trained.known_sheets import start_curves
from pullbook.pipeline.features import feature_table
from pullbook.schemas.answer import Between, rounded
from pullbook.schemas.part_groups import GROUPS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.sample import Floats
    from pullbook.model.trained.trained_model import Model

#: Engine speeds of a band at which the doubt about a share is worked out.
_SPEEDS = 7
#: The share of two dynos, where the model knows how each reads.
DYNOS = "the two dynos"
#: The share of two engine families beyond their parts, where the model knows both.
FAMILIES = "engine family"


@dataclass(frozen=True, slots=True)
class Shares:
    """The shares of a difference, the first build minus the second, in means over a band, lb-ft.

    Attributes
    ----------
    measured
        The difference that was found.
    parts
        The share of each group in which the builds differ; they and ``unexplained`` add up to the
        difference. The limits are for what a change of that group alone would measure.
    level
        Confidence level of these limits.
    """

    measured: float
    parts: dict[str, Between]
    level: float

    @property
    def unexplained(self) -> float:
        """What of the difference the model cannot explain."""
        return self.measured - sum(one.value for one in self.parts.values())

    def times(self, factor: float) -> Shares:
        """Return the shares with all torque multiplied by a factor."""
        parts = {name: one.times(factor) for name, one in self.parts.items()}
        return Shares(self.measured * factor, parts, self.level)

    def as_json(self) -> dict[str, Any]:
        """Return the shares as ``compare --json`` prints them."""
        return {
            "difference": rounded(self.measured),
            "level": rounded(self.level, 4),
            "parts": {
                name: {
                    "share": rounded(one.value), "low": rounded(one.low), "high": rounded(one.high)
                }
                for name, one in self.parts.items()
            },
            "unexplained": rounded(self.unexplained),
        }  # fmt: skip


def shares(
    model: Model, builds: pd.DataFrame, difference: float, band: tuple[float, float], level: float
) -> Shares:
    """Return the shares of the difference of two builds.

    What the model knows of parts says how much each group likely adds, and how unsure that is. What
    the two engines made together says how much all of them add. So what is left over goes to the
    groups as far as they are unsure, and to what the model cannot explain as far as two engines of
    the same parts differ (conditioning of a normal distribution on a sum).

    Parameters
    ----------
    model
        The model that says what parts do.
    builds
        The two typed builds, with the code of the shop of each where it is known.
    difference
        The first minus the second, the mean over the band, lb-ft.
    band
        Lowest and highest engine speed, rev/min.
    level
        Confidence level of the limits of each share.

    """
    builds = builds.assign(engine=None).astype(builds.dtypes.to_dict())
    first, second = builds.iloc[[0]], builds.iloc[[1]]
    groups = [name for name in GROUPS if _differ(first.iloc[0], second.iloc[0], GROUPS[name])]
    rpm = np.linspace(*band, BAND_POINTS)
    labels = _of_labels(model, builds, rpm)
    if not groups:
        return Shares(difference, labels, level)
    torque = curves_of(model, part_shares.put_in(second, first, groups)).torque(rpm).mean(axis=1)
    found = part_shares.shares(torque, groups)
    middle = np.array([float(found[name]) for name in groups])
    joint, twins, remounted = _doubt(model, first, second, groups, rpm)
    left = difference - middle.sum() - sum(one.value for one in labels.values())
    gain = joint.sum(axis=1) / (joint.sum() + twins)
    middle = middle + gain * left
    sure = joint - np.outer(gain, joint.sum(axis=0))
    spread = np.sqrt(np.maximum(np.diag(sure), 0.0) + remounted)
    factor, kept = _factor(model, builds, level)
    parts = {
        name: Between(value, None, None)
        if factor is None
        else Between(value, value - factor * sd, value + factor * sd)
        for name, value, sd in zip(groups, middle.tolist(), spread.tolist(), strict=True)
    }
    return Shares(difference, parts | labels, kept)


def _differ(a: pd.Series, b: pd.Series, names: tuple[str, ...]) -> bool:
    return any(
        pd.isna(a[name]) != pd.isna(b[name]) or (pd.notna(a[name]) and a[name] != b[name])
        for name in names
    )


def _factor(model: Model, builds: pd.DataFrame, level: float) -> tuple[float | None, float]:
    """Return the half-width of the limits of a share, in expected errors, and the level they keep.

    As for parts that were changed on one engine; of a new engine family, if one of the two is.
    """
    known = (effect_points.KnownLabels(model.fields).of(builds)[:, 1] >= 0).all()
    names = (CHANGED,) if known else (CHANGED, f"{CHANGED}{NEW_FAMILY}")
    found = [model.pairs[name].mean for name in names if name in model.pairs]
    levels = [kept for one in found if (kept := one.kept(level)) is not None]
    if not levels:
        return None, level
    kept = min(levels)
    factors = [one.factor(kept) for one in found]
    return max((one for one in factors if one is not None), default=None), kept


def _doubt(
    model: Model, first: pd.DataFrame, second: pd.DataFrame, groups: Sequence[str], rpm: Floats
) -> tuple[Floats, float, float]:
    """Return the covariance of the changes that groups make, and two variances, in means, lb-ft.

    The changes are those of the second build with one group of the first, shape (groups, groups).
    The variances are of the difference of two engines of the same parts, each tested once, and of
    one engine tested twice.
    """
    rows = pd.concat(
        [second, *(part_shares.put_in(second, first, [name]).iloc[[1]] for name in groups)]
    ).astype(second.dtypes.to_dict())
    _, (ready,) = Engines(model).ready(second, [None])
    table = feature_table.make(rows, model.filling)
    near = np.linspace(rpm[0], rpm[-1], _SPEEDS)
    ahead = Ahead(
        ready.process, ready.process.inputs.places(table), np.tile(ready.labels, (len(rows), 1)),
        effect_points.start_at(start_curves(model, table), model.speeds, near), near,
    )  # fmt: skip
    known = ready.process.posterior(ahead.points())
    joint = ready.process.covariance(known, known, same=False)
    torque = curves_of(model, rows).torque(near) / len(near)
    change = np.zeros((len(groups), *torque.shape))
    change[:, 0] = -torque[0]
    change[np.arange(len(groups)), 1 + np.arange(len(groups))] = torque[1:]
    flat = change.reshape(len(groups), -1)
    variances = dict(zip(EFFECTS, ready.process.constants.variances.tolist(), strict=True))
    engine, mounting = (
        2 * variances[name] * float(torque[0].sum()) ** 2 for name in ("engine", "mounting")
    )
    return flat @ joint @ flat.T, engine + mounting, mounting


def _of_labels(model: Model, builds: pd.DataFrame, rpm: Floats) -> dict[str, Between]:
    """Return what the two dynos and families add beyond parts, where the model knows them."""
    found: dict[str, Between] = {}
    first, second = builds.iloc[[0]], builds.iloc[[1]]
    if not model.own_dyno:
        shops = [builds["shop"].iloc[at] for at in range(2)]
        if all(shop in model.shop_codes for shop in shops) and shops[0] != shops[1]:
            offsets = [model.shop_offsets[model.shop_codes.index(shop)] for shop in shops]
            torque = float(curves_of(model, first).torque(rpm).mean())
            share = torque * float(np.exp(offsets[0]) - np.exp(offsets[1]))
            found[DYNOS] = Between(share, None, None)
        return found
    for name, field in ((DYNOS, "shop"), (FAMILIES, "family")):
        moved = first.assign(**{field: second[field].to_numpy()})
        pair = pd.concat([first, moved]).astype(first.dtypes.to_dict())
        share = float(
            np.subtract(*(curves_of(model, pair.iloc[[at]]).torque(rpm).mean() for at in range(2)))
        )
        if share:
            found[name] = Between(share, None, None)
    return found
