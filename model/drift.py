"""What new sheets say before anything is learned from them: of themselves, and of the model.

The model in use has seen none of them, so how it does on them is the one test that nobody could
have tuned for. It is kept as a record that grows with every batch.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from model import accuracy, bootstrap
from model.against import LEVELS, held_against
from model.evaluate import coverage
from model.prediction import predict
from model.standing import Standing
from pipeline.consensus import nested
from schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from model.novelty import Floats
    from model.training import Model

#: A field has drifted when its mean moved by so much of its standard deviation, or so large a share
#: of its choices, or of what is given, changed. Common practice, no source.
_MOVED, _SHARE = 0.5, 0.25
#: Fewer new values than this tell nothing of drift.
_FEWEST = 10
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


class DriftError(ValueError):
    """Data sets between which a model has nothing new to be held against; the message says why."""


@dataclass(frozen=True, slots=True)
class Arrivals:
    """What came, went and changed between two data sets.

    Attributes
    ----------
    new
        Whether each build is new or says something else than before.
    changed, gone
        Names of sheets that say something else than before, and of such as are no longer there.
    new_shops, new_families
        Codes and names that were not there before.
    """

    new: np.ndarray
    changed: list[str]
    gone: list[str]
    new_shops: list[str]
    new_families: list[str]


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


class Moved(NamedTuple):
    """How a field of the new sheets differs from the earlier ones.

    Attributes
    ----------
    field
        Its name.
    given_before, given_now
        The share of sheets that give it.
    shift
        Of a number: by how many standard deviations its mean moved. Of a choice: the share of
        sheets that would have to choose otherwise. ``None``: too few values.
    before, now
        Median of a number, commonest choice.
    beyond
        How many new sheets lie beyond the earlier range, or have a choice not seen before.
    drifted
        Whether that is worth a look.
    """

    field: str
    given_before: float
    given_now: float
    shift: float | None
    before: object
    now: object
    beyond: int
    drifted: bool


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


def version_of(builds: pd.DataFrame) -> str:
    """Return the version of a data set: a digest of what its sheets say, in whatever order."""
    told = "\n".join(sorted(builds["content"]))
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def arrivals(builds: pd.DataFrame, earlier: pd.DataFrame) -> Arrivals:
    """Return what is new in curated builds since earlier ones."""
    keys = [pd.MultiIndex.from_frame(one[["shop", "sheet_id"]]) for one in (builds, earlier)]
    new = ~builds["content"].isin(set(earlier["content"])).to_numpy(dtype=bool)
    changed = new & keys[0].isin(keys[1])
    gone = ~keys[1].isin(keys[0]) & ~earlier["content"].isin(set(builds["content"])).to_numpy()
    families = builds["family"].dropna()
    return Arrivals(
        new=new,
        changed=builds["sheet_id"][changed].tolist(),
        gone=earlier["sheet_id"][gone].tolist(),
        new_shops=_added(builds["shop"], earlier["shop"]),
        new_families=_added(families, earlier["family"].dropna()),
    )


def _added(now: pd.Series, before: pd.Series) -> list[str]:
    return [str(one) for one in now.unique().tolist() if one not in set(before)]


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
    if len(off) >= _FEWEST and shop.nunique() >= _ALL_SHOPS:
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


def moved(fresh: pd.DataFrame, earlier: pd.DataFrame) -> list[Moved]:
    """Return how each field of a build moved between two sets of builds, the furthest first."""
    found = [_moved(name, fresh[name], earlier[name]) for name in ("family", *BUILD_FIELDS)]
    told = [one for one in found if one.given_before or one.given_now]
    return sorted(told, key=lambda one: (not one.drifted, -(one.shift or 0.0)))


def _moved(name: str, now: pd.Series, before: pd.Series) -> Moved:
    given = float(before.notna().mean()), float(now.notna().mean())
    now, before = now.dropna(), before.dropna()
    numeric = name != "family" and FIELDS[name].numeric
    found = _Shift(None, None, None, 0)
    if len(now) and len(before):
        found = _number(now, before) if numeric else _choice(now, before)
    enough = min(len(now), len(before)) >= _FEWEST and name != "family"
    shift = found.shift if enough else None
    far = shift is not None and shift > (_MOVED if numeric else _SHARE)
    drifted = far or abs(given[1] - given[0]) > _SHARE
    return Moved(name, *given, shift, found.before, found.now, found.beyond, drifted)


class _Shift(NamedTuple):
    shift: float | None
    before: object
    now: object
    beyond: int


def _number(now: pd.Series, before: pd.Series) -> _Shift:
    new, old = now.to_numpy(float), before.to_numpy(float)
    spread = float(np.std(old)) or float(np.abs(old).max()) * 0.01 or 1.0
    beyond = int(((new < old.min()) | (new > old.max())).sum())
    shift = abs(float(new.mean() - old.mean())) / spread
    return _Shift(shift, float(np.median(old)), float(np.median(new)), beyond)


def _choice(now: pd.Series, before: pd.Series) -> _Shift:
    new, old = (one.astype("str").value_counts(normalize=True) for one in (now, before))
    union = new.index.union(old.index)
    both = (one.reindex(union, fill_value=0.0).to_numpy(float) for one in (new, old))
    apart = float(np.abs(np.subtract(*both)).sum()) / 2
    beyond = int((~now.astype("str").isin(old.index)).sum())
    return _Shift(apart, str(old.index[0]), str(new.index[0]), beyond)


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
