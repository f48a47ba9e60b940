"""The sheets that the model finds hardest, and what is likely amiss with each.

An analyst mends data before tuning. What a whole curve that is off by one factor may be (another
unit, another standard) follows from the factor; a field that may be wrong is found by leaving it
out: the model then fills it, and a wrong one is better missing.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.prediction.predict import predict
from pullbook.pipeline.physics.correction_factors import CHASSIS_EFFICIENCY
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS
from pullbook.schemas.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pullbook.model.evaluation.evaluate import Evaluation
    from pullbook.model.learning.sample import Floats
    from pullbook.model.trained.trained_model import Model

#: Sheets of a part of the data whose fields are left out one by one.
LOOKED_INTO = 12
#: A field is suspect if leaving it out takes away at least this share of the error.
_GAIN = 0.4
#: Fields that a build cannot go without, or that are not numbers of a part.
_KEPT = frozenset({"cylinders", "bore", "stroke", "displacement", "aspiration", "boost"})
#: How even over the sweep a curve must be that is off by one factor; logarithm of torque.
_EVEN = 0.05
#: Torque measured over predicted where a unit or the driveline was mistaken, and how near it must
#: come (a logarithm: whole engines read 10 % low, too); hp over kW is 1.341, too near to tell it
#: from N.m over lb-ft.
_NM = 1.3558
_FACTORS: tuple[tuple[float, float, str], ...] = (
    (_NM, 0.05, "N.m may have been taken for lb-ft, or hp for kW"),
    (1 / _NM, 0.05, "lb-ft may have been taken for N.m, or kW for hp"),
    (CHASSIS_EFFICIENCY, 0.02, "it may have been measured at the wheels"),
)
#: SAE J607 over J1349 at their reference conditions (common practice, no source).
_STANDARD = math.log(1.04)
#: A shop reads high or low from this on; tilts count from this on, over the sweep.
_SHOP, _TILT = 0.03, 0.08
_FEWEST_OF_SHOP = 3
_FEW_GIVEN = 0.1


class Suspect(NamedTuple):
    """A field without which a sheet is predicted better; errors are root mean squares, %."""

    field: str
    error: float
    without: float


def suspects(
    model: Model,
    builds: pd.DataFrame,
    pulls: Mapping[str, pd.DataFrame],
    shops: Sequence[str | None],
    most: int = LOOKED_INTO,
) -> dict[str, Suspect]:
    """Return by ``sheet_id`` the field that is likely wrong, of the sheets that are furthest off.

    Parameters
    ----------
    model
        A model that has not learned from these sheets.
    builds, pulls, shops
        Curated builds, their curated readings by ``sheet_id``, and the code of the shop to predict
        each for.
    most
        How many sheets are looked into.

    """
    errors = _errors(model, builds, pulls, shops)
    found = {}
    for place in np.argsort(-errors)[:most].tolist():
        row = builds.iloc[[place]]
        given = [
            name
            for name in BUILD_FIELDS
            if name not in _KEPT and FIELDS[name].numeric and row[name].notna().item()
        ]
        if not given:
            continue
        variants = pd.concat([row] * len(given), ignore_index=True)
        for at, name in enumerate(given):
            variants.loc[at, name] = np.nan
        without = _errors(model, variants, pulls, [shops[place]] * len(given))
        best = int(np.argmin(without))
        if without[best] <= (1 - _GAIN) * errors[place]:
            sheet = str(row["sheet_id"].item())
            found[sheet] = Suspect(given[best], float(errors[place]), float(without[best]))
    return found


def _errors(
    model: Model,
    builds: pd.DataFrame,
    pulls: Mapping[str, pd.DataFrame],
    shops: Sequence[str | None],
) -> Floats:
    """Return the root mean square error of each build, % of torque."""
    found = []
    names = builds["sheet_id"].tolist()
    for name, one in zip(names, predict(model, builds, shops, alone=True), strict=True):
        pull = pulls[name]
        off = one.torque(pull["rpm"].to_numpy(float)) / pull["torque"].to_numpy(float) - 1
        found.append(100 * math.sqrt(float(np.mean(off**2))))
    return np.array(found)


def hardest(found: Evaluation, most: int = 30) -> pd.DataFrame:
    """Return the sheets that were predicted worst, with what may be amiss.

    Parameters
    ----------
    found
        An evaluation: every sheet predicted by a model that has not seen its shop or engine.
    most
        How many sheets to return.

    Returns
    -------
    A row a sheet, the worst first: ``sheet_id``, ``shop`` (or engine, where those were held out),
    ``error`` (root mean square, % of torque), ``high`` (how much it reads above its prediction over
    the whole sweep, %), ``tilt`` (how much more so at the top than at the bottom, %), ``standing``
    and ``reasons``, a list of texts, the likeliest first; empty where nothing is known.

    """
    shape = _shapes(found.readings).join(found.sheets.set_index("sheet_id")[["standing", "given"]])
    few = shape["given"].quantile(_FEW_GIVEN)
    rows = []
    for name, one in shape.sort_values("error", ascending=False, kind="stable")[:most].iterrows():
        others = shape[(shape["shop"] == one["shop"]) & (shape.index != name)]["level"]
        reasons = [
            *_of_fields(found.suspects.get(str(name))),
            *_of_curve(one),
            *_of_shop(one, others),
        ]
        if one["standing"] == Standing.OUTSIDE:
            reasons.append("few tests are like it, so it may be right")
        if one["given"] < few:
            reasons.append(f"only {one['given']:.0f} fields of the build are given")
        rows.append(
            {
                "sheet_id": name, "shop": one["shop"], "error": one["error"],
                "high": 100 * math.expm1(one["level"]), "tilt": 100 * math.expm1(one["tilt"]),
                "standing": one["standing"], "reasons": reasons,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def _shapes(readings: pd.DataFrame) -> pd.DataFrame:
    """Return by sheet its shop, its error, and how measured over predicted runs over the sweep."""
    rows = {}
    for name, own in readings.groupby("sheet_id", sort=False):
        off = np.log((own["measured"] / own["predicted"]).to_numpy(float))
        rpm = own["rpm"].to_numpy(float)
        span = float(np.ptp(rpm))
        tilt = float(np.polyfit((rpm - rpm.mean()) / span, off, 1)[0]) if span > 0 else 0.0
        error = 100 * (own["predicted"] / own["measured"] - 1)
        rows[name] = {
            "shop": own["shop"].iloc[0],
            "error": float(np.sqrt((error**2).mean())),
            "level": float(off.mean()),
            "uneven": float(off.std()),
            "tilt": tilt,
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def _of_fields(suspect: Suspect | None) -> list[str]:
    if suspect is None:
        return []
    return [
        f"{FIELDS[suspect.field].title.lower()} may be wrong: without it the error is"
        f" {suspect.without:.1f} %"
    ]


def _of_curve(one: pd.Series) -> list[str]:
    level, even = float(one["level"]), float(one["uneven"]) < _EVEN
    for factor, near, text in _FACTORS:
        if even and abs(level - math.log(factor)) < near:
            return [text]
    if abs(abs(level) - _STANDARD) < _STANDARD / 2 and even:
        return ["its correction standard may be another: the whole curve is off by about 4 %"]
    if abs(float(one["tilt"])) > _TILT:
        more, less = ("at the top", "low down") if one["tilt"] > 0 else ("low down", "at the top")
        return [
            f"it makes more {more} than predicted and less {less}: camshaft, intake or exhaust may"
            " not be as written"
        ]
    return []


def _of_shop(one: pd.Series, others: pd.Series) -> list[str]:
    if len(others) < _FEWEST_OF_SHOP:
        return []
    middle = float(others.median())
    if abs(middle) < _SHOP or middle * float(one["level"]) < 0:
        return []
    high = "high" if middle > 0 else "low"
    return [
        f"all sheets of this shop read {high}, {abs(100 * math.expm1(middle)):.0f} % on average"
    ]
