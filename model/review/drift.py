"""What new sheets say before anything is learned from them: of themselves, and of the model.

The model in use has seen none of them, so how it does on them is the one test that nobody could
have tuned for. It is kept as a record that grows with every batch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.answers.predict import predict
from pullbook.model.evaluation import accuracy, bootstrap
from pullbook.model.evaluation.evaluate import coverage
from pullbook.model.evaluation.prediction_errors import LEVELS, held_against
from pullbook.model.review.arrivals import Arrivals, arrivals, version_of
from pullbook.model.review.moved_fields import FEWEST, Moved, moved
from pullbook.pipeline.curation.shop_consensus import nested
from pullbook.schemas.answer import Standing
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.range.novelty import Floats
    from pullbook.model.training.train_model import Model

#: A shop that the model knows reads otherwise than it did when it is so far off, and by so many
#: standard errors: of fifty shops one is then named by chance in one batch of forty. Of a new shop
#: only so much is beyond what shops differ by. Common practice, no source.
OFF, ERRORS, OFF_NEW = 0.03, 3.5, 0.10
#: Fewer sheets of a shop tell too little of how it reads.
FEWEST_SHEETS = 3
#: All new sheets together are off by more than this, which is beyond chance: something is amiss.
#: Fewer sheets or shops tell no such thing.
_ALL_OFF, _ALL_SHOPS = 0.04, 3
#: What a sheet scatters by at the least, however well those of a small batch agree. Common
#: practice, no source.
_SCATTER = 0.02


class DriftError(InputError):
    """Data sets between which a model has nothing new to be held against; the message says why."""


class ShopReads(NamedTuple):
    """How the new sheets of a shop read against what the model expects of them.

    Attributes
    ----------
    shop
        Its code.
    known
        Whether the model has learned from it.
    sheets
        How many are new.
    offset, error
        Natural logarithm against what the model expects, and its standard error.
    """

    shop: str
    known: bool
    sheets: int
    offset: float
    error: float

    @property
    def doubtful(self) -> bool:
        """Whether that is more than shops differ by, or a shop changes by."""
        far = abs(self.offset) > (OFF if self.known else OFF_NEW)
        return self.sheets >= FEWEST_SHEETS and far and abs(self.offset) > ERRORS * self.error


@dataclass(frozen=True, slots=True)
class Drift:
    """What was found.

    Attributes
    ----------
    arrivals
        What is new.
    fields
        How each field moved, the furthest first.
    readings, sheets
        The model held against the new sheets, as `against.held_against` gives them.
    outside
        Sheets that stand outside what the model was trained on, each with the first reason.
    shops
        How each shop with new sheets reads, by those that do not stand outside.
    record
        The line that the growing record gets.
    doubts
        What speaks against learning from the new sheets as they are.
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
    model: Model, told: Mapping[str, Any], builds: pd.DataFrame, pulls: pd.DataFrame,
    earlier: pd.DataFrame,
) -> Drift:  # fmt: skip
    """Return what new sheets say of themselves and of the model in use.

    Parameters
    ----------
    model, told
        The bundle in use, as `bundle.load` gives it.
    builds, pulls
        Curated tables as they are now.
    earlier
        Curated builds as they were when the bundle was made.

    Raises
    ------
    DriftError
        No sheet is new, or the model has learned from some of them.

    """
    came = arrivals(builds, earlier)
    if not came.new.any():
        gone = (
            f"; {len(came.gone)} of its sheets are gone: are the two swapped?" if came.gone else ""
        )
        msg = f"there is no new sheet since the earlier data set{gone}"
        raise DriftError(msg)
    _check_unseen(model, told, builds, came)
    fresh = builds[came.new].reset_index(drop=True)
    groups = {str(name): own for name, own in pulls.groupby("sheet_id", sort=False)}
    predictions = predict(model, fresh, fresh["shop"].tolist())
    readings, sheets = held_against(fresh, groups, predictions)
    off = _off(readings)
    usable = (sheets["standing"] != Standing.OUTSIDE.value).to_numpy(dtype=bool)
    shops = _shops(fresh[usable], off[usable], model.fields["shop"].value_counts())
    record = _record(told, builds, fresh, came, readings, sheets, off)
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
    model: Model, told: Mapping[str, Any], builds: pd.DataFrame, came: Arrivals
) -> None:
    """Refuse a model that has learned from the new sheets: they would be no test of it."""
    learned = set(zip(model.fields["shop"], map(_bare, model.sheet_ids), strict=True))
    names = builds["sheet_id"].isin(set(came.changed))
    fresh = builds[came.new & ~names.to_numpy(dtype=bool)]
    seen = sum(
        (shop, _bare(name)) in learned
        for shop, name in zip(fresh["shop"].tolist(), fresh["sheet_id"].tolist(), strict=True)
    )
    if seen:
        msg = (
            f"bundle {told['id']} has learned from {seen} of the {len(fresh)} sheets that are new"
            " since the earlier data set; look for drift before the bundle is replaced, with the"
            " one in use and the data set it was made from"
        )
        raise DriftError(msg)


def _bare(sheet_id: str) -> str:
    """Return a sheet's own name, without what tells it from those of other shops."""
    return sheet_id.rsplit("@", 1)[0]


def _off(readings: pd.DataFrame) -> Floats:
    """Return the mean logarithm of measured over predicted of each sheet."""
    ratio = pd.Series(np.log((readings["measured"] / readings["predicted"]).to_numpy(float)))
    return ratio.groupby(readings["sheet_id"], sort=False).mean().to_numpy(float)


def _record(
    told: Mapping[str, Any], builds: pd.DataFrame, fresh: pd.DataFrame, came: Arrivals,
    readings: pd.DataFrame, sheets: pd.DataFrame, off: Floats,
) -> dict[str, Any]:  # fmt: skip
    errors = accuracy.by_sheet(readings)["curve"].to_numpy(float)
    held = coverage(readings, sheets)
    line: dict[str, Any] = {
        "data": version_of(builds),
        "bundle": str(told["id"]),
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
    """Return how shops read against what the model expects of them.

    Expected of a known shop is its own reading, which is the less sure the fewer of its sheets the
    model has seen (``known``, by code); of a new one that of the middle of all. They are not held
    against one another: where all are off, each is. How much sheets and families of one shop
    scatter is told by all shops together.
    """
    if not len(fresh):
        return []
    shop, codes = pd.factorize(fresh["shop"])
    part = pd.factorize(fresh["shop"] + " " + fresh["family"].astype("str").fillna(""))[0]
    sheets = np.bincount(shop)
    offset = np.bincount(shop, off) / sheets
    error = np.maximum(nested(off, shop, part).noise, _SCATTER / np.sqrt(sheets))
    before = known.reindex(codes).to_numpy(float)
    error *= np.where(np.isnan(before), 1.0, np.sqrt(1 + sheets / before))
    return [
        ShopReads(str(code), not np.isnan(seen), int(count), float(apart), float(noise))
        for code, seen, count, apart, noise in zip(
            codes, before, sheets, offset, error, strict=True
        )
    ]


def _doubts(off: Floats, shop: pd.Series, shops: list[ShopReads]) -> list[str]:
    found = []
    if len(off) >= FEWEST and shop.nunique() >= _ALL_SHOPS:
        middle, low, high = bootstrap.limits(off, shop.tolist(), lambda rows: float(np.mean(rows)))
        if (low > 0 or high < 0) and abs(middle) > _ALL_OFF:
            found.append(
                f"the new sheets read {_percent(middle)} against the model as a whole"
                f" ({_percent(low)} to {_percent(high)}): a unit or a correction may be mistaken"
            )
    found += [
        f"shop {one.shop[:8]} reads {_percent(one.offset)} (give or take {200 * one.error:.1f})"
        f" against {'how it read before' if one.known else 'the model'}, on {one.sheets} new"
        " sheets: a unit, a correction or its dyno may be mistaken"
        for one in shops
        if one.doubtful
    ]
    return found


def _percent(log: float) -> str:
    return f"{100 * np.expm1(log):+.1f} %"


def keep(record: pd.DataFrame | None, line: Mapping[str, Any]) -> pd.DataFrame:
    """Return a record with a line added; what it held of the same data and bundle gives way."""
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
