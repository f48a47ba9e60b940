"""Drift: checking new sheets, and the model in use on them, before anything is trained on them.

The model in use has seen none of these sheets, so its errors on them are a test that nobody could
have tuned for. The results are kept in a record with a line for every batch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.evaluation import accuracy, bootstrap
from pullbook.model.evaluation.evaluate import coverage
from pullbook.model.evaluation.prediction_errors import LEVELS, score_predictions
from pullbook.model.prediction.predict import predict
from pullbook.model.review.arrivals import Arrivals, arrivals, version_of
from pullbook.model.review.moved_fields import Moved, moved
from pullbook.pipeline.builds.engine_groups import engines_of
from pullbook.pipeline.curation.shop_consensus import nested
from pullbook.schemas.errors import InputError
from pullbook.schemas.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.range.novelty import Floats
    from pullbook.model.trained.trained_model import Model

#: A known shop is in doubt when its offset has changed by more than ``OFF`` and by more than
#: ``ERRORS`` standard errors: with fifty shops, one is then named by chance in one batch of forty.
#: A new shop is in doubt beyond ``OFF_NEW``, more than shops differ by. Common practice, no source.
OFF, ERRORS, OFF_NEW = 0.03, 3.5, 0.10
#: Fewest new sheets of a shop to judge its offset by.
FEWEST_SHEETS = 3
#: All new sheets together are in doubt when their mean is off by more than this, beyond chance, and
#: they are at least so many, of at least so many shops.
_ALL_OFF, _ALL_SHEETS, _ALL_SHOPS = 0.04, 10, 3
#: Smallest scatter of a sheet that is assumed, even if a small batch agrees better. Common
#: practice, no source.
_SCATTER = 0.02


class DriftError(InputError):
    """Data sets that a model cannot be checked for drift on; the message says why."""


class ShopReads(NamedTuple):
    """The offset of a shop's new sheets from what the model expects.

    Attributes
    ----------
    shop
        Its code.
    known
        Whether the model was trained on it.
    sheets
        Number of its new sheets.
    offset, error
        Natural logarithm of measured over expected torque, and its standard error.
    """

    shop: str
    known: bool
    sheets: int
    offset: float
    error: float

    @property
    def doubtful(self) -> bool:
        """Whether the offset is more than shops differ by, or a known shop changes by."""
        far = abs(self.offset) > (OFF if self.known else OFF_NEW)
        return self.sheets >= FEWEST_SHEETS and far and abs(self.offset) > ERRORS * self.error


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
    """

    arrivals: Arrivals
    fields: list[Moved]
    readings: pd.DataFrame
    sheets: pd.DataFrame
    outside: list[tuple[str, str]]
    shops: list[ShopReads]
    record: dict[str, Any]
    doubts: list[str]

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
        }


def drift(
    model: Model, manifest: Mapping[str, Any], builds: pd.DataFrame, pulls: pd.DataFrame,
    earlier: pd.DataFrame,
) -> Drift:  # fmt: skip
    """Return how new sheets differ from earlier ones, and how the model in use does on them.

    Parameters
    ----------
    model, manifest
        The bundle in use, from `bundle.load`.
    builds, pulls
        Curated tables as they are now.
    earlier
        Curated builds as they were when the bundle was made.

    Raises
    ------
    DriftError
        No sheet is new, or the model was trained on some of them.

    """
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
    readings, sheets = score_predictions(fresh, groups, predictions)
    off = _off(readings)
    usable = (sheets["standing"] != Standing.OUTSIDE.value).to_numpy(dtype=bool)
    known = model.fields["shop"].groupby(engines_of(model.fields)).first().value_counts()
    shops = _shops(fresh[usable], off[usable], known)
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
        doubts=_doubts(off[usable], fresh["shop"][usable], shops),
    )


def _check_unseen(
    model: Model, manifest: Mapping[str, Any], builds: pd.DataFrame, came: Arrivals
) -> None:
    """Raise if the model was trained on some of the new sheets, which are then no test of it."""
    learned = set(zip(model.fields["shop"], map(_bare, model.sheet_ids), strict=True))
    names = builds["sheet_id"].isin(set(came.changed))
    fresh = builds[came.new & ~names.to_numpy(dtype=bool)]
    seen = sum(
        (shop, _bare(name)) in learned
        for shop, name in zip(fresh["shop"].tolist(), fresh["sheet_id"].tolist(), strict=True)
    )
    if seen:
        msg = (
            f"bundle {manifest['id']} was trained on {seen} of the {len(fresh)} sheets that are new"
            " since the earlier data set; check for drift with the bundle in use and the data set"
            " it was trained on, before you replace it"
        )
        raise DriftError(msg)


def _bare(sheet_id: str) -> str:
    """Return a sheet's own name, without the suffix for its shop."""
    return sheet_id.rsplit("@", 1)[0]


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


def _shops(fresh: pd.DataFrame, off: Floats, known: pd.Series) -> list[ShopReads]:
    """Return the offsets of shops from what the model expects.

    For a known shop the model expects the shop's own offset, which is less certain the fewer of its
    engines the model has seen (``known``, by code); for a new shop it expects the mean of all.
    Shops are not compared with one another: if all are off, each is. The scatter of sheets, engines
    and families within a shop is estimated from all: sheets of one engine say less.
    """
    if not len(fresh):
        return []
    shop, codes = pd.factorize(fresh["shop"])
    part = pd.factorize(fresh["shop"] + " " + fresh["family"].astype("str").fillna(""))[0]
    sheets = np.bincount(shop)
    offset = np.bincount(shop, off) / sheets
    engine = engines_of(fresh)
    engines = np.bincount(shop[np.unique(engine, return_index=True)[1]])
    noise = np.maximum(nested(off, shop, part).noise, nested(off, shop, engine).noise)
    error = np.maximum(noise, _SCATTER / np.sqrt(engines))
    before = known.reindex(codes).to_numpy(float)
    error *= np.where(np.isnan(before), 1.0, np.sqrt(1 + engines / before))
    return [
        ShopReads(str(code), not np.isnan(seen), int(count), float(apart), float(noise))
        for code, seen, count, apart, noise in zip(
            codes, before, sheets, offset, error, strict=True
        )
    ]


def _doubts(off: Floats, shop: pd.Series, shops: list[ShopReads]) -> list[str]:
    found = []
    if len(off) >= _ALL_SHEETS and shop.nunique() >= _ALL_SHOPS:
        middle, low, high = bootstrap.limits(off, shop.tolist(), lambda rows: float(np.mean(rows)))
        if (low > 0 or high < 0) and abs(middle) > _ALL_OFF:
            how = f"{_percent(middle)} against the model ({_percent(low)} to {_percent(high)})"
            found.append(f"the new sheets as a whole read {how}; check their units and corrections")
    found += [
        f"shop {one.shop[:8]} reads {_percent(one.offset)} (+- {200 * one.error:.1f} %) against"
        f" {'its earlier sheets' if one.known else 'the model'} on {one.sheets} new sheets; check"
        " their units and corrections, and its dyno"
        for one in shops
        if one.doubtful
    ]
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
