"""Drift: checking new sheets, and the model in use on them, before anything is trained on them.

The model in use has seen none of these sheets, so its errors on them are a test that nobody could
have tuned for. The results are kept in a record with a line for every batch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.evaluation import accuracy, bootstrap
from pullbook.model.evaluation.evaluate import coverage
from pullbook.model.evaluation.prediction_errors import LEVELS, score_predictions
from pullbook.model.prediction.predict import predict
from pullbook.model.review.arrivals import Arrivals, arrivals, bare, learned_by, version_of
from pullbook.model.review.moved_fields import Moved, moved
from pullbook.model.review.shop_reads import ShopReads, shop_reads
from pullbook.pipeline.builds.engine_groups import SHOP, engine_keys, engines_of, held_out_groups
from pullbook.schemas.errors import InputError
from pullbook.schemas.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.range.novelty import Floats
    from pullbook.model.trained.trained_model import Model

#: All new sheets together are in doubt when their mean is off by more than this, beyond chance, and
#: they are at least so many, of at least so many shops.
_ALL_OFF, _ALL_SHEETS, _ALL_SHOPS = 0.04, 10, 3


class DriftError(InputError):
    """Data sets that a model cannot be checked for drift on; the message says why."""


@dataclass(frozen=True, slots=True)
class Drift:
    """The new sheets, and the model in use on them.

    Attributes
    ----------
    arrivals
        What is new.
    fields
        How much each field has moved, the furthest first.
    readings, sheets
        Errors of the model on the new sheets, from `prediction_errors.score_predictions`.
    outside
        Sheets outside the model's training data, each with the first reason.
    shops
        The offset of each shop with new sheets, from those that are not outside.
    record
        The new line of the record.
    doubts
        Reasons not to train on the new sheets as they are.
    held_out
        What limits are of: ``shop``, or ``engine`` where the data is of few shops; the column
        ``shop`` of readings and sheets then holds engines.
    """

    arrivals: Arrivals
    fields: list[Moved]
    readings: pd.DataFrame
    sheets: pd.DataFrame
    outside: list[tuple[str, str]]
    shops: list[ShopReads]
    record: dict[str, Any]
    doubts: list[str]
    held_out: str

    def as_json(self) -> dict[str, Any]:
        """Return the figures as plain data."""
        return {
            "new": dict(self.record),
            "changed": len(self.arrivals.changed),
            "gone": len(self.arrivals.gone),
            "drifted_fields": [one.field for one in self.fields if one.drifted],
            "shops": [
                {
                    **one._asdict(),
                    "offset": round(one.offset, 4),
                    "error": round(one.error, 4),
                    "doubtful": one.doubtful,
                }
                for one in self.shops
            ],
            "doubts": self.doubts,
            "held_out": self.held_out,
        }


def drift(
    model: Model, manifest: Mapping[str, Any], builds: pd.DataFrame, pulls: pd.DataFrame,
    earlier: pd.DataFrame | None = None,
) -> Drift:  # fmt: skip
    """Return how new sheets differ from earlier ones, and how the model in use does on them.

    Parameters
    ----------
    model, manifest
        The bundle in use, from `bundle.load`.
    builds, pulls
        Curated tables as they are now.
    earlier
        Curated builds as they were when the bundle was made; ``None`` for those it learned from, by
        their names.

    Raises
    ------
    DriftError
        No sheet is new, or the model was trained on some of them.

    """
    earlier = learned_by(model, builds) if earlier is None else earlier
    came = arrivals(builds, earlier)
    if not came.new.any():
        gone = (
            f", and {len(came.gone)} of its sheets are missing; were the two data sets swapped?"
            if came.gone
            else "; add new sheets and curate again"
        )
        msg = f"no sheet is new since the earlier data set{gone}"
        raise DriftError(msg)
    _check_unseen(model, manifest, builds, came)
    fresh = builds[came.new].reset_index(drop=True)
    groups = {str(name): own for name, own in pulls.groupby("sheet_id", sort=False)}
    predictions = predict(model, fresh, fresh["shop"].tolist())
    held_out = held_out_groups(pd.concat([builds, earlier], ignore_index=True))
    weighed = fresh if held_out.what == SHOP else fresh.assign(shop=engine_keys(fresh))
    readings, sheets = score_predictions(weighed, groups, predictions)
    off = _off(readings)
    usable = (sheets["standing"] != Standing.OUTSIDE.value).to_numpy(dtype=bool)
    known = model.fields["shop"].groupby(engines_of(model.fields)).first().value_counts()
    shops = shop_reads(fresh[usable], off[usable], known)
    record = _record(manifest, builds, fresh, came, readings, sheets, off)
    return Drift(
        arrivals=came,
        fields=moved(fresh, earlier),
        readings=readings,
        sheets=sheets,
        outside=[
            (name, one.reasons[0].message)
            for name, one in zip(fresh["sheet_id"].tolist(), predictions, strict=True)
            if one.standing is Standing.OUTSIDE
        ],
        shops=shops,
        record=record,
        doubts=_doubts(
            off[usable], fresh["shop"][usable], shops, alone=len(set(builds["shop"])) == 1
        ),
        held_out=held_out.what,
    )


def _check_unseen(
    model: Model, manifest: Mapping[str, Any], builds: pd.DataFrame, came: Arrivals
) -> None:
    """Raise if the model was trained on some of the new sheets, which are then no test of it."""
    learned = set(zip(model.fields["shop"], map(bare, model.sheet_ids), strict=True))
    names = builds["sheet_id"].isin(set(came.changed))
    fresh = builds[came.new & ~names.to_numpy(dtype=bool)]
    seen = sum(
        (shop, bare(name)) in learned
        for shop, name in zip(fresh["shop"].tolist(), fresh["sheet_id"].tolist(), strict=True)
    )
    if seen:
        msg = (
            f"bundle {manifest['id']} was trained on {seen} of the {len(fresh)} sheets that are new"
            " since the earlier data set; check for drift with the bundle in use and the data set"
            " it was trained on, before you replace it"
        )
        raise DriftError(msg)


def _off(readings: pd.DataFrame) -> Floats:
    """Return the mean logarithm of measured over predicted of each sheet."""
    ratio = pd.Series(np.log((readings["measured"] / readings["predicted"]).to_numpy(float)))
    return ratio.groupby(readings["sheet_id"], sort=False).mean().to_numpy(float)


def _record(
    manifest: Mapping[str, Any], builds: pd.DataFrame, fresh: pd.DataFrame, came: Arrivals,
    readings: pd.DataFrame, sheets: pd.DataFrame, off: Floats,
) -> dict[str, Any]:  # fmt: skip
    errors = accuracy.by_sheet(readings)["curve"].to_numpy(float)
    held = coverage(readings, sheets)
    line: dict[str, Any] = {
        "data": version_of(builds),
        "bundle": str(manifest["id"]),
        "sheets": len(fresh),
        "shops": int(fresh["shop"].nunique()),
        "new_shops": len(came.new_shops),
        "rms": round(float(np.sqrt(np.mean(errors**2))), 3),
        "median_sheet": round(float(np.median(errors)), 3),
        "reads_high": round(100 * float(np.expm1(off.mean())), 3),
        "outside": round(float((sheets["standing"] == Standing.OUTSIDE.value).mean()), 4),
    }
    for level in LEVELS:
        for part in ("reading", "curve"):
            line[f"{part}_{level}"] = held[part].get(str(level))
    return line


def _doubts(off: Floats, shop: pd.Series, shops: list[ShopReads], *, alone: bool) -> list[str]:
    found = []
    if len(off) >= _ALL_SHEETS and shop.nunique() >= _ALL_SHOPS:
        middle, low, high = bootstrap.limits(off, shop.tolist(), lambda rows: float(np.mean(rows)))
        if (low > 0 or high < 0) and abs(middle) > _ALL_OFF:
            how = f"{_percent(middle)} against the model ({_percent(low)} to {_percent(high)})"
            found.append(f"the new sheets as a whole read {how}; check their units and corrections")
    for one in (one for one in shops if one.doubtful):
        whose, against = ("shop " + one.shop[:8], "its") if not alone else ("your dyno", "the")
        before = f"{against} earlier sheets" if one.known else "the model"
        found.append(
            f"{whose} reads {_percent(one.offset)} (+- {200 * one.error:.1f} %) against {before} on"
            f" {one.sheets} new sheets; check their units and corrections, and {against} dyno"
        )
    return found


def _percent(log: float) -> str:
    return f"{100 * np.expm1(log):+.1f} %"


def keep(record: pd.DataFrame | None, line: Mapping[str, Any]) -> pd.DataFrame:
    """Return a record with a line added; it replaces one of the same data and bundle."""
    if record is None:
        return pd.DataFrame([dict(line)])
    rows = [dict(zip(record.columns, row, strict=True)) for row in record.itertuples(index=False)]
    of = (line["data"], line["bundle"])
    at = [(str(row["data"]), str(row["bundle"])) for row in rows]
    if of in at:
        rows[at.index(of)] = dict(line)
    else:
        rows.append(dict(line))
    return pd.DataFrame(rows, columns=list(line))
